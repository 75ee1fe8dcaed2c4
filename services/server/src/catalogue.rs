//! The catalogue of this server: the methods built in, and those of a folder.

use std::path::Path;

use anyhow::Context as _;
use benchring_domain::method::Catalogue;

/// Longest method file that is read; those built in have some 10 KB.
const LONGEST: u64 = 1024 * 1024;

/// Reads the method files of `folder` beside those built in; an empty path names none.
///
/// # Errors
/// What is wrong with the folder, or everything that is wrong with its files.
pub(crate) fn load(folder: &Path) -> anyhow::Result<Catalogue> {
    if folder.as_os_str().is_empty() {
        return Catalogue::embedded().context("the catalogue of methods does not fit together");
    }
    let files = read(folder).with_context(|| format!("methods_dir {}", folder.display()))?;
    let added: Vec<(&str, &str)> = files.iter().map(|(name, text)| (name.as_str(), text.as_str())).collect();
    let catalogue =
        Catalogue::with_methods(&added).with_context(|| format!("methods_dir {}", folder.display()))?;
    let names: Vec<&str> = added.iter().map(|(name, _)| *name).collect();
    tracing::info!(folder = %folder.display(), methods = names.join(", "), "methods added");
    Ok(catalogue)
}

/// Name and text of every method file, by name. Files of other kinds are named in the log and left alone.
fn read(folder: &Path) -> anyhow::Result<Vec<(String, String)>> {
    let entries =
        std::fs::read_dir(folder).context("cannot read the folder: name one that is there, or none")?;
    let (mut files, mut broken) = (Vec::new(), Vec::new());
    for entry in entries {
        let path = entry.context("cannot read the folder")?.path();
        let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        if !path.is_file() || path.extension().is_none_or(|kind| kind != "json") {
            tracing::warn!(name, "not a method file, left alone: they end in .json");
            continue;
        }
        match text(&path) {
            Ok(text) => files.push((name, text)),
            Err(wrong) => broken.push(format!("- {name}: {wrong:#}")),
        }
    }
    anyhow::ensure!(broken.is_empty(), "files that cannot be read:\n{}", broken.join("\n"));
    files.sort();
    Ok(files)
}

fn text(path: &Path) -> anyhow::Result<String> {
    let length = path.metadata()?.len();
    anyhow::ensure!(
        length <= LONGEST,
        "{length} bytes, and at most {LONGEST} are read: this is no method file"
    );
    let bytes = std::fs::read(path)?;
    String::from_utf8(bytes).context("not UTF-8: save it as UTF-8")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn refusal(files: &[(&str, &[u8])]) -> String {
        let folder = tempfile::tempdir().unwrap();
        for (name, bytes) in files {
            std::fs::write(folder.path().join(name), bytes).unwrap();
        }
        format!("{:#}", load(folder.path()).unwrap_err())
    }

    #[test]
    fn without_a_folder_or_with_an_empty_one_there_are_the_methods_built_in() {
        let built_in = load(Path::new("")).unwrap();
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("README.md"), "methods of our club").unwrap();
        assert_eq!(load(folder.path()).unwrap().hash(), built_in.hash());
    }

    #[test]
    fn every_broken_file_is_named_with_its_path_and_what_to_do() {
        let known = benchring_domain::method::FILES;
        let screw = known.iter().find(|(name, _)| *name == "screw-drive-time.v1.json").unwrap().1;
        let ours = screw.replacen("\"screw-drive-time\"", "\"our-screws\"", 1).replacen(
            "\"drive_depth\"",
            "\"depth\"",
            1,
        );
        let said = refusal(&[
            ("our-screws.v1.json", ours.as_bytes()),
            ("screw-drive-time.v1.json", screw.as_bytes()),
            ("dictionary.json", b"{}"),
        ]);
        for due in [
            "methods_dir ",
            "our-screws.v1.json: derived[0].formula: `depth` is no field of the dictionary",
            "screw-drive-time.v1.json: this method version is built in and trials rest on it: give yours the next version",
            "dictionary.json: only methods can be added",
        ] {
            assert!(said.contains(due), "{due} is not in {said}");
        }
    }

    #[test]
    fn what_cannot_be_read_stops_the_start() {
        let gone = load(Path::new("/nowhere/at/all")).unwrap_err();
        assert!(format!("{gone:#}").contains("cannot read the folder"), "{gone:#}");
        let said = refusal(&[("a.v1.json", b"\xff\xfe"), ("b.v1.json", &vec![b' '; 1024 * 1024 + 1])]);
        assert!(said.contains("a.v1.json: not UTF-8") && said.contains("b.v1.json: 1048577 bytes"), "{said}");
    }
}
