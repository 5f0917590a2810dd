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

/// Held against the reader of the same library, which goes another way than its writer.
#[cfg(test)]
mod tests {
    use parquet::file::reader::{FileReader as _, SerializedFileReader};

    use super::super::tables::{ALL, ATTEMPTS, CURVES};
    use super::*;

    #[test]
    fn rows_read_back_as_they_were_put_in() {
        let mut attempts = Rows::new(&ATTEMPTS);
        let mut curves = Rows::new(&CURVES);
        for row in 0..3_000_i64 {
            for column in ATTEMPTS.columns {
                let is_null = column.is_optional && row % 3 == 0;
                match column.kind {
                    Kind::Text => attempts.text((!is_null).then_some(if row % 2 == 0 {
                        "Förderpumpe"
                    } else {
                        ""
                    })),
                    Kind::Truth => attempts.truth(row % 2 == 0),
                    _ => attempts.number((!is_null).then_some(row * 7 - 900)),
                };
            }
            let length = row % 4;
            let some = || (0..length).map(move |at| row * 10 + at - 5_000);
            curves
                .text("a")
                .text("b")
                .number(row)
                .list(some())
                .list(some())
                .list(some())
                .number(1);
        }
        for (rows, length) in [(&attempts, 3_000), (&curves, 3_000)] {
            assert_eq!(rows.len(), length);
            let mut out = Out::begin(tempfile(), rows.table()).expect("begun");
            out.write(rows).expect("written");
            out.write(rows).expect("written");
            let file = out.finish().expect("finished");
            let reader = SerializedFileReader::new(file).expect("a Parquet file");
            let read: Vec<String> = reader
                .get_row_iter(None)
                .expect("rows")
                .map(|row| row.expect("a row").to_string())
                .collect();
            assert_eq!(read.len(), 2 * length);
            assert_eq!(read[..length], read[length..]);
        }
        let reader = {
            let mut out = Out::begin(tempfile(), &CURVES).expect("begun");
            out.write(&curves).expect("written");
            SerializedFileReader::new(out.finish().expect("finished")).expect("a Parquet file")
        };
        let rows: Vec<String> = reader
            .get_row_iter(None)
            .expect("rows")
            .skip(502)
            .take(2)
            .map(|row| row.expect("a row").to_string())
            .collect();
        assert_eq!(
            rows,
            [
                "{build: \"a\", joint: \"b\", record: 502, time_ms: [20, 21], torque_Nm: [0.020, 0.021], angle_deg: [0.020, 0.021], run: 1}",
                "{build: \"a\", joint: \"b\", record: 503, time_ms: [30, 31, 32], torque_Nm: [0.030, 0.031, 0.032], angle_deg: [0.030, 0.031, 0.032], run: 1}",
            ]
        );
    }

    #[test]
    fn every_table_is_a_schema() {
        for table in ALL {
            Out::begin(tempfile(), table).expect("a schema");
        }
    }

    /// A file that has no name any more.
    fn tempfile() -> File {
        use std::sync::atomic::{AtomicU32, Ordering};
        static NUMBER: AtomicU32 = AtomicU32::new(0);
        let number = NUMBER.fetch_add(1, Ordering::Relaxed);
        let name = format!("evendraw-parquet-{}-{number}", std::process::id());
        let path = std::env::temp_dir().join(name);
        let file = File::options()
            .read(true)
            .write(true)
            .create(true)
            .truncate(true)
            .open(&path)
            .expect("a file");
        std::fs::remove_file(&path).expect("its name taken away");
        file
    }
}
