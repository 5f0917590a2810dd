//! A disk in memory: files by name, nothing else.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::io;
use std::path::{Path, PathBuf};
use std::rc::Rc;

use evendraw::disk::{Disk, DiskFile, Kind};

type Bytes = Rc<RefCell<Vec<u8>>>;

#[derive(Clone, Debug, Default)]
pub struct Memory(Rc<RefCell<BTreeMap<PathBuf, Bytes>>>);

#[derive(Debug)]
pub struct File(Bytes);

impl Memory {
    pub fn with(path: &Path, bytes: &[u8]) -> Self {
        let disk = Self::default();
        let file = Rc::new(RefCell::new(bytes.to_vec()));
        disk.0.borrow_mut().insert(path.to_owned(), file);
        disk
    }

    fn at(&self, path: &Path) -> io::Result<Bytes> {
        let names = self.0.borrow();
        names
            .get(path)
            .cloned()
            .ok_or_else(|| io::ErrorKind::NotFound.into())
    }

    fn free(&self, path: &Path) -> io::Result<()> {
        match self.at(path) {
            Ok(_) => Err(io::ErrorKind::AlreadyExists.into()),
            Err(_) => Ok(()),
        }
    }
}

impl Disk for Memory {
    type File = File;

    fn create(&self, path: &Path) -> io::Result<File> {
        self.free(path)?;
        let file = Bytes::default();
        self.0.borrow_mut().insert(path.to_owned(), file.clone());
        Ok(File(file))
    }

    fn open(&self, path: &Path) -> io::Result<File> {
        self.at(path).map(File)
    }

    fn kind(&self, path: &Path) -> io::Result<Kind> {
        Ok(self.at(path).map_or(Kind::Nothing, |_| Kind::File))
    }

    fn read(&self, path: &Path, _most: u64) -> io::Result<Vec<u8>> {
        Ok(self.at(path)?.borrow().clone())
    }

    fn link(&self, from: &Path, to: &Path) -> io::Result<()> {
        self.free(to)?;
        let file = self.at(from)?;
        self.0.borrow_mut().insert(to.to_owned(), file);
        Ok(())
    }

    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        let file = self.at(from)?;
        let mut names = self.0.borrow_mut();
        names.remove(from);
        names.insert(to.to_owned(), file);
        Ok(())
    }

    fn remove(&self, path: &Path) -> io::Result<()> {
        self.at(path)?;
        self.0.borrow_mut().remove(path);
        Ok(())
    }

    fn create_folder(&self, _path: &Path) -> io::Result<()> {
        Ok(())
    }

    fn sync_folder(&self, _path: &Path) -> io::Result<()> {
        Ok(())
    }

    fn leads_to(&self, path: &Path, file: &File) -> io::Result<bool> {
        Ok(self.at(path).is_ok_and(|own| Rc::ptr_eq(&own, &file.0)))
    }

    fn whereabouts(&self, _path: &Path, _file: &File) -> Option<PathBuf> {
        None
    }
}

impl DiskFile for File {
    fn write_at(&mut self, bytes: &[u8], at: u64) -> io::Result<()> {
        let (mut own, at) = (self.0.borrow_mut(), at as usize);
        let end = own.len().max(at + bytes.len());
        own.resize(end, 0);
        own[at..at + bytes.len()].copy_from_slice(bytes);
        Ok(())
    }

    fn read_at(&mut self, bytes: &mut [u8], at: u64) -> io::Result<()> {
        let (own, at) = (self.0.borrow(), at as usize);
        let found = own
            .get(at..at + bytes.len())
            .ok_or(io::ErrorKind::UnexpectedEof)?;
        bytes.copy_from_slice(found);
        Ok(())
    }

    fn size(&self) -> io::Result<u64> {
        Ok(self.0.borrow().len() as u64)
    }

    fn set_size(&mut self, bytes: u64) -> io::Result<()> {
        self.0.borrow_mut().resize(bytes as usize, 0);
        Ok(())
    }

    fn sync(&mut self) -> io::Result<()> {
        Ok(())
    }
}
