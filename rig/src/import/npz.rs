//! Several NPY arrays in one file, as numpy.savez and numpy.savez_compressed write them: a ZIP
//! archive with an entry `name.npy` for each.

#[cfg(not(target_arch = "wasm32"))]
use std::io::{Cursor, Read};

#[cfg(not(target_arch = "wasm32"))]
use super::npy;
use super::{FormatFault, Numbers};

/// Most bytes that all arrays of an archive may take, unpacked.
pub const MOST_NPZ_BYTES: u64 = 1 << 30;

/// A page in a browser has no files to read.
#[cfg(target_arch = "wasm32")]
pub(super) fn read(_: &[u8]) -> Result<Vec<(String, Numbers)>, FormatFault> {
    Err(FormatFault::new("is an NPZ file, which cannot be read here"))
}

#[cfg(not(target_arch = "wasm32"))]
pub(super) fn read(bytes: &[u8]) -> Result<Vec<(String, Numbers)>, FormatFault> {
    let bad = |e: &dyn std::fmt::Display| FormatFault::new(format!("is not a whole NPZ file: {e}"));
    let mut archive = zip::ZipArchive::new(Cursor::new(bytes)).map_err(|e| bad(&e))?;
    let mut left = MOST_NPZ_BYTES;
    let mut all = Vec::new();
    for k in 0..archive.len() {
        let entry = archive.by_index(k).map_err(|e| bad(&e))?;
        let name = entry.name().map_err(|e| bad(&e))?;
        let Some(name) = name.strip_suffix(".npy").map(str::to_owned) else {
            continue;
        };
        // What the entry claims is not believed: it is read up to the limit and counted.
        let mut content = Vec::new();
        entry
            .take(left + 1)
            .read_to_end(&mut content)
            .map_err(|e| bad(&e))?;
        left = left.checked_sub(content.len() as u64).ok_or_else(|| {
            FormatFault::new(format!("holds more than {} MB of arrays", MOST_NPZ_BYTES >> 20))
        })?;
        let numbers =
            npy::numbers(&content).map_err(|fault| FormatFault::new(format!("{name}: {}", fault.message)))?;
        all.push((name, numbers));
    }
    Ok(all)
}
