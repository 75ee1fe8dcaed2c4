//! Compiles `proto/` with protox, so that no system protoc is needed.

use std::path::{Path, PathBuf};

use prost::Message as _;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let root = Path::new(&std::env::var("CARGO_MANIFEST_DIR")?).join("../../proto");
    println!("cargo::rerun-if-changed={}", root.display());
    let mut files: Vec<PathBuf> = std::fs::read_dir(root.join("benchring/v1"))?
        .map(|entry| entry.map(|e| e.path()))
        .collect::<Result<_, _>>()?;
    files.retain(|path| path.extension().is_some_and(|e| e == "proto"));
    files.sort();
    let set = protox::Compiler::new([&root])?
        .include_source_info(true)
        .include_imports(true)
        .open_files(&files)?
        .encode_file_descriptor_set();
    let out = PathBuf::from(std::env::var("OUT_DIR")?);
    std::fs::write(out.join("descriptors.bin"), &set)?;
    let mut config = tonic_prost_build::Config::new();
    // The codec finds the descriptor of a request by its name.
    config.enable_type_names();
    tonic_prost_build::configure()
        .codec_path("crate::codec::CountingCodec")
        .compile_well_known_types(false)
        // Maps in key order: equal answers are equal bytes.
        .btree_map(".")
        // A trial is much larger than the other outcome.
        .boxed(".benchring.v1.SubmitTrialResult.outcome.trial")
        .compile_fds_with_config(prost_types_set(&set)?, config)?;
    Ok(())
}

fn prost_types_set(bytes: &[u8]) -> Result<prost_types::FileDescriptorSet, prost::DecodeError> {
    prost_types::FileDescriptorSet::decode(bytes)
}
