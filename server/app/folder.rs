//! The folder into which machines put their records, as it lies on the disk: FOLDER/SITE/MACHINE/FILE.

use std::collections::BTreeMap;
use std::fs::{self, DirEntry, Metadata};
use std::io::{self, ErrorKind, Read};
use std::os::unix::fs::MetadataExt;
use std::path::{Path, PathBuf};

/// Where a file goes that was judged, below its machine's folder.
pub const JUDGED: &str = "judged";

/// What shows that a file is still the one that it was.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stamp {
    pub bytes: u64,
    modified: (i64, i64),
    place: (u64, u64),
}

impl Stamp {
    fn of(it: &Metadata) -> Stamp {
        Stamp { bytes: it.size(), modified: (it.mtime(), it.mtime_nsec()), place: (it.dev(), it.ino()) }
    }
}

/// Something that lies in a machine's folder.
#[derive(Clone, Debug)]
pub struct Found {
    pub site: String,
    pub machine: String,
    pub name: String,
    pub path: PathBuf,
    /// The file as it is now, or why it is none that can be read.
    pub stamp: Result<Stamp, String>,
}

/// One look at the folder: what lies in it, and what could not be looked at.
#[derive(Debug, Default)]
pub struct Look {
    /// The folders of machines, by those of sites.
    pub places: BTreeMap<String, Vec<String>>,
    pub found: Vec<Found>,
    pub troubles: Vec<String>,
}

/// Names of files that are still being written, or that are none of ours.
fn is_passed(name: &str) -> bool {
    let lower = name.to_ascii_lowercase();
    let ends = [".tmp", ".temp", ".part", ".partial", ".crdownload", ".swp", "~"];
    name.starts_with('.') || ends.iter().any(|end| lower.ends_with(end))
}

/// Looks through the folder. A link is followed nowhere below it: it could lead out of it.
pub fn look(root: &Path) -> Look {
    let mut look = Look::default();
    for (site, site_path) in folders(root, &mut look) {
        let machines = folders(&site_path, &mut look);
        look.places.insert(site.clone(), machines.iter().map(|(machine, _)| machine.clone()).collect());
        for (machine, path) in machines {
            files(&site, &machine, &path, &mut look);
        }
    }
    look
}

fn entries(path: &Path) -> io::Result<Vec<DirEntry>> {
    let mut all = fs::read_dir(path)?.collect::<io::Result<Vec<DirEntry>>>()?;
    all.sort_by_key(DirEntry::file_name);
    Ok(all)
}

fn folders(path: &Path, look: &mut Look) -> Vec<(String, PathBuf)> {
    let all = match entries(path) {
        Ok(all) => all,
        Err(error) => {
            look.troubles.push(format!("{} cannot be read: {error}", path.display()));
            return Vec::new();
        }
    };
    let mut found = Vec::new();
    for entry in all {
        let name = entry.file_name().to_string_lossy().into_owned();
        match entry.file_type() {
            Ok(kind) if kind.is_dir() && !is_passed(&name) => found.push((name, entry.path())),
            Ok(kind) if kind.is_symlink() => {
                look.troubles.push(format!("{} is a link, which is not followed", entry.path().display()));
            }
            // What is gone again, or is no folder, names no site and no machine.
            Ok(_) | Err(_) => {}
        }
    }
    found
}

fn files(site: &str, machine: &str, path: &Path, look: &mut Look) {
    let found = |name: String, path: PathBuf, stamp: Result<Stamp, String>| Found {
        site: site.into(),
        machine: machine.into(),
        name,
        path,
        stamp,
    };
    let all = match entries(path) {
        Ok(all) => all,
        Err(error) => {
            let why = format!("The folder cannot be read: {error}.");
            look.found.push(found(format!("{machine}/"), path.into(), Err(why)));
            return;
        }
    };
    for entry in all {
        let name = entry.file_name().to_string_lossy().into_owned();
        // This does not follow a link. What cannot be asked is gone again.
        let Ok(it) = entry.metadata() else { continue };
        if it.is_dir() || is_passed(&name) {
            continue;
        }
        let stamp = if it.is_file() {
            Ok(Stamp::of(&it))
        } else if it.is_symlink() {
            Err("It is a link, and links are not followed; put the file itself here.".to_string())
        } else {
            Err("It is no file.".to_string())
        };
        look.found.push(found(name, entry.path(), stamp));
    }
}

/// The bytes of a file, where it is still the one that was seen; `None` where it is not.
pub fn read(path: &Path, seen: &Stamp) -> io::Result<Option<Vec<u8>>> {
    let still = |path: &Path| match fs::symlink_metadata(path) {
        Ok(it) => Ok(it.is_file() && Stamp::of(&it) == *seen),
        Err(error) if error.kind() == ErrorKind::NotFound => Ok(false),
        Err(error) => Err(error),
    };
    if !still(path)? {
        return Ok(None);
    }
    let mut file = match fs::File::open(path) {
        Ok(file) => file,
        Err(error) if error.kind() == ErrorKind::NotFound => return Ok(None),
        Err(error) => return Err(error),
    };
    // What was opened may be another file than the one that was asked about.
    if Stamp::of(&file.metadata()?) != *seen {
        return Ok(None);
    }
    let mut bytes = Vec::new();
    file.by_ref().take(seen.bytes + 1).read_to_end(&mut bytes)?;
    Ok((bytes.len() as u64 == seen.bytes && still(path)?).then_some(bytes))
}

/// Moves a judged file out of the way. One that is gone was moved by another server.
pub fn put_by(path: &Path, seen: &Stamp, sha256: &str) -> io::Result<()> {
    match fs::symlink_metadata(path) {
        Ok(it) if Stamp::of(&it) == *seen => {}
        // It is another file now, which has its own turn.
        Ok(_) => return Ok(()),
        Err(error) if error.kind() == ErrorKind::NotFound => return Ok(()),
        Err(error) => return Err(error),
    }
    let (Some(folder), Some(name)) = (path.parent(), path.file_name()) else {
        return Ok(());
    };
    let judged = folder.join(JUDGED);
    match fs::create_dir(&judged) {
        Err(error) if error.kind() != ErrorKind::AlreadyExists => return Err(error),
        _ => {}
    }
    if !fs::symlink_metadata(&judged)?.is_dir() {
        return Err(io::Error::new(ErrorKind::NotADirectory, format!("{JUDGED} is no folder")));
    }
    let mut to = judged.join(name);
    if to.symlink_metadata().is_ok() {
        // Another cycle's file had that name.
        let short: String = sha256.chars().take(16).collect();
        to = judged.join(format!("{short}-{}", name.to_string_lossy()));
    }
    match fs::rename(path, to) {
        Err(error) if error.kind() == ErrorKind::NotFound => Ok(()),
        moved => moved,
    }
}
