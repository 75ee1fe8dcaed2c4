//! The files of the catalogue as they were when this was built.

macro_rules! files {
    ($($name:literal),+ $(,)?) => {
        /// Every file under `methods/`: name and text. A new file is listed here; a test compares list and folder.
        pub const FILES: &[(&str, &str)] =
            &[$(($name, include_str!(concat!("../../methods/", $name)))),+];
    };
}

files!(
    "bore-depth-per-charge.v1.json",
    "bore-time.v1.json",
    "crosscut-time.v1.json",
    "cuts-per-charge.v1.json",
    "dictionary.json",
    "discharge-capacity.v1.json",
    "discharge-energy.v1.json",
    "no-load-runtime.v1.json",
    "peak-torque.v1.json",
    "power-at-load.v1.json",
    "pulse-resistance.v1.json",
    "recharge-time.v1.json",
    "screw-drive-time.v1.json",
    "screws-per-charge.v1.json",
    "self-discharge.v1.json",
    "temperature-rise.v1.json",
    "trim-length-per-charge.v1.json",
    "work.json",
);
