//! The files that setups name, each read and decoded once, however many setups use them.

use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};

use motefield_files::{Disk, FileError, FileSource, picture};
use ndarray::Array2;

use crate::import::{self, Data, Format, ImportError, Layout};

/// What a field's file is read as.
type FieldKey = (PathBuf, Format, Option<Layout>, Option<String>);

/// Referenced files by their names.
pub struct Referenced {
    files: Arc<dyn FileSource>,
    pictures: Mutex<HashMap<PathBuf, Arc<Array2<f32>>>>,
    fields: Mutex<HashMap<FieldKey, Arc<Data>>>,
}

impl std::fmt::Debug for Referenced {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_list().entries(self.files.read_so_far()).finish()
    }
}

/// The value under a key, made and kept where it is not there yet.
fn once<K: std::hash::Hash + Eq, V, E>(
    kept: &Mutex<HashMap<K, Arc<V>>>,
    key: K,
    make: impl FnOnce() -> Result<V, E>,
) -> Result<Arc<V>, E> {
    let mut kept = kept.lock().expect("no thread panics with the lock");
    if let Some(value) = kept.get(&key) {
        return Ok(Arc::clone(value));
    }
    let value = Arc::new(make()?);
    kept.insert(key, Arc::clone(&value));
    Ok(value)
}

impl Referenced {
    /// Files out of a source of bytes.
    pub fn new(files: Arc<dyn FileSource>) -> Arc<Referenced> {
        Arc::new(Referenced {
            files,
            pictures: Mutex::default(),
            fields: Mutex::default(),
        })
    }

    /// Files on disk.
    pub fn on_disk() -> Arc<Referenced> {
        Referenced::new(Arc::new(Disk::default()))
    }

    /// Where the bytes come from.
    pub fn files(&self) -> &dyn FileSource {
        self.files.as_ref()
    }

    /// A grey picture.
    pub(crate) fn picture(&self, path: &Path) -> Result<Arc<Array2<f32>>, FileError> {
        once(&self.pictures, path.to_owned(), || {
            picture::decode(path, &self.files.content(path)?.bytes)
        })
    }

    /// A velocity field.
    pub(crate) fn field(
        &self,
        path: &Path,
        format: Format,
        layout: Option<Layout>,
        array: Option<&str>,
    ) -> Result<Arc<Data>, ImportError> {
        let key = (path.to_owned(), format, layout, array.map(str::to_owned));
        once(&self.fields, key, || {
            let content = self
                .files
                .content(path)
                .map_err(|e| ImportError::of_file(path, e))?;
            import::decode(path, &content.bytes, format, layout, array)
        })
    }
}
