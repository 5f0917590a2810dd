//! One file of a run: rows gathered and written, and its name given when it is whole.
//!
//! Knows nothing of what the rows say.

use std::fs::File;
use std::io::{BufWriter, Write as _};
use std::path::PathBuf;

use super::tables::{Rows, Table, csv_head};
use super::{ExportError, Format, failed};
use crate::disk::{self, Disk as _, System};
use crate::signals::{Passing, Whole};

/// Rows that are gathered before they are written: large enough to be packed well, small enough for little memory.
const GROUP: usize = 65_536;

/// A file being written.
pub(super) struct Writer {
    path: PathBuf,
    unfinished: PathBuf,
    rows: Rows,
    out: Out,
    /// It is taken away where the program is told to end.
    passing: Passing,
}

enum Out {
    #[cfg(feature = "parquet")]
    Parquet(super::parquet::Out),
    Csv(BufWriter<File>),
}

impl Writer {
    pub(super) fn begin(
        path: PathBuf,
        table: &'static Table,
        format: Format,
    ) -> Result<Self, ExportError> {
        let unfinished = disk::with_behind(&path, ".unfinished");
        let (passing, file) = {
            let _whole = Whole::begin();
            (Passing::begin(&unfinished), File::create(&unfinished))
        };
        let file = file.map_err(failed("create", &unfinished))?;
        let out = match format {
            #[cfg(feature = "parquet")]
            Format::Parquet => Out::Parquet(
                super::parquet::Out::begin(file, table).map_err(failed("write", &unfinished))?,
            ),
            #[cfg(not(feature = "parquet"))]
            Format::Parquet => return Err(ExportError::NoParquet),
            Format::Csv => {
                let mut out = BufWriter::new(file);
                out.write_all(csv_head(table).as_bytes())
                    .map_err(failed("write", &unfinished))?;
                Out::Csv(out)
            }
        };
        Ok(Self {
            path,
            unfinished,
            rows: Rows::new(table),
            out,
            passing,
        })
    }

    pub(super) fn take(&mut self, rows: Rows) -> Result<(), ExportError> {
        self.rows.append(rows);
        if self.rows.len() >= GROUP {
            self.flush()?;
        }
        Ok(())
    }

    fn flush(&mut self) -> Result<(), ExportError> {
        if self.rows.is_empty() {
            return Ok(());
        }
        let none = Rows::new(self.rows.table());
        let rows = std::mem::replace(&mut self.rows, none);
        let written = match &mut self.out {
            #[cfg(feature = "parquet")]
            Out::Parquet(out) => out.write(&rows),
            Out::Csv(out) => out.write_all(rows.csv().as_bytes()),
        };
        written.map_err(failed("write", &self.unfinished))
    }

    /// Synced, then named. Returns its bytes.
    pub(super) fn finish(mut self) -> Result<u64, ExportError> {
        let _whole = Whole::begin();
        self.flush()?;
        let file = match self.out {
            #[cfg(feature = "parquet")]
            Out::Parquet(out) => out.finish(),
            Out::Csv(out) => out
                .into_inner()
                .map_err(std::io::IntoInnerError::into_error),
        };
        let write = || failed("write", &self.unfinished);
        let file = file.map_err(write())?;
        file.sync_all().map_err(write())?;
        let bytes = file.metadata().map_err(write())?.len();
        drop(file);
        std::fs::rename(&self.unfinished, &self.path).map_err(failed("name", &self.path))?;
        drop(self.passing);
        System
            .sync_folder(disk::folder_of(&self.path))
            .map_err(failed("sync the folder of", &self.path))?;
        Ok(bytes)
    }
}
