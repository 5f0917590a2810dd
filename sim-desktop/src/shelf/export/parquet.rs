//! Rows as Apache Parquet, through the writer of columns: no other form of the rows is built in between.
//!
//! Knows nothing of what the rows say.

use std::fmt::Write as _;
use std::fs::File;
use std::io;
use std::sync::Arc;

use parquet::basic::{Compression, Encoding};
use parquet::data_type::{BoolType, ByteArray, ByteArrayType, Int32Type, Int64Type};
use parquet::file::metadata::KeyValue;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::{SerializedColumnWriter, SerializedFileWriter};
use parquet::schema::parser::parse_message_type;

use super::ledger::SCHEMA;
use super::tables::{Cells, Column, Kind, Rows, Table};

/// A file being written.
pub(super) struct Out(SerializedFileWriter<File>);

fn other(error: parquet::errors::ParquetError) -> io::Error {
    io::Error::other(error)
}

/// The table in Parquet's own words.
fn message(table: &Table) -> String {
    let mut text = format!("message {} {{\n", table.name);
    for column in table.columns {
        let may = if column.is_optional {
            "OPTIONAL"
        } else {
            "REQUIRED"
        };
        let name = column.name;
        let _ = match column.kind {
            Kind::Text => writeln!(text, "{may} BYTE_ARRAY {name} (UTF8);"),
            Kind::Whole => writeln!(text, "{may} INT32 {name};"),
            Kind::Long => writeln!(text, "{may} INT64 {name};"),
            Kind::Thousandths => writeln!(text, "{may} INT64 {name} (DECIMAL(12,3));"),
            Kind::Moment => writeln!(text, "{may} INT64 {name} (TIMESTAMP(MICROS,true));"),
            Kind::Truth => writeln!(text, "{may} BOOLEAN {name};"),
            Kind::Wholes => writeln!(
                text,
                "{may} group {name} (LIST) {{ REPEATED group list {{ REQUIRED INT32 element; }} }}"
            ),
            Kind::ThousandthsList => writeln!(
                text,
                "{may} group {name} (LIST) {{ REPEATED group list {{ REQUIRED INT64 element (DECIMAL(12,3)); }} }}"
            ),
        };
    }
    text.push('}');
    text
}

impl Out {
    pub(super) fn begin(file: File, table: &Table) -> io::Result<Self> {
        let schema = parse_message_type(&message(table)).map_err(other)?;
        let version = KeyValue::new("evendraw.schema".to_owned(), SCHEMA.to_string());
        let mut properties = WriterProperties::builder()
            .set_compression(Compression::SNAPPY)
            .set_created_by(format!("Evendraw {}", env!("CARGO_PKG_VERSION")))
            .set_key_value_metadata(Some(vec![version]));
        // Moments and numbers of records go up by little: told as steps they take a byte or two.
        for column in table.columns {
            if column.kind == Kind::Moment || ["record", "fact"].contains(&column.name) {
                properties = properties
                    .set_column_dictionary_enabled(column.name.into(), false)
                    .set_column_encoding(column.name.into(), Encoding::DELTA_BINARY_PACKED);
            }
        }
        let properties = Arc::new(properties.build());
        SerializedFileWriter::new(file, Arc::new(schema), properties)
            .map(Self)
            .map_err(other)
    }

    /// The rows as one group.
    pub(super) fn write(&mut self, rows: &Rows) -> io::Result<()> {
        let mut group = self.0.next_row_group().map_err(other)?;
        for (column, cells) in rows.columns() {
            if let Some(mut writer) = group.next_column().map_err(other)? {
                put(&mut writer, column, cells)?;
                writer.close().map_err(other)?;
            }
        }
        group.close().map_err(other)?;
        Ok(())
    }

    pub(super) fn finish(self) -> io::Result<File> {
        self.0.into_inner().map_err(other)
    }
}

fn put(writer: &mut SerializedColumnWriter<'_>, column: &Column, cells: &Cells) -> io::Result<()> {
    let is_list = matches!(column.kind, Kind::Wholes | Kind::ThousandthsList);
    let defined = (column.is_optional || is_list).then_some(cells.defined.as_slice());
    let repeated = is_list.then_some(cells.repeated.as_slice());
    let written = match column.kind {
        Kind::Text => {
            // One buffer for all of them: each text is a piece of it.
            let buffer = ByteArray::from(cells.text.clone().into_bytes());
            let mut from = 0;
            let texts: Vec<ByteArray> = cells
                .ends
                .iter()
                .map(|&end| {
                    let text = buffer.slice(from, end - from);
                    from = end;
                    text
                })
                .collect();
            writer
                .typed::<ByteArrayType>()
                .write_batch(&texts, defined, repeated)
        }
        Kind::Whole | Kind::Wholes => {
            let numbers: Vec<i32> = cells
                .numbers
                .iter()
                .map(|&number| i32::try_from(number).unwrap_or(i32::MAX))
                .collect();
            writer
                .typed::<Int32Type>()
                .write_batch(&numbers, defined, repeated)
        }
        Kind::Long | Kind::Thousandths | Kind::Moment | Kind::ThousandthsList => writer
            .typed::<Int64Type>()
            .write_batch(&cells.numbers, defined, repeated),
        Kind::Truth => {
            let truths: Vec<bool> = cells.numbers.iter().map(|&number| number != 0).collect();
            writer
                .typed::<BoolType>()
                .write_batch(&truths, defined, repeated)
        }
    };
    written.map(drop).map_err(other)
}
