//! The files of the catalogue as they were when this was built.

macro_rules! files {
    ($($name:literal),+ $(,)?) => {
        /// Every file under `methods/`: name and text. A new file is listed here; a test compares list and folder.
        pub const FILES: &[(&str, &str)] =
            &[$(($name, include_str!(concat!("../../methods/", $name)))),+];
    };
}

files!(
    "cuts-per-charge.v1.json",
    "dictionary.json",
    "discharge-capacity.v1.json",
    "screw-drive-time.v1.json",
    "work.json",
);
