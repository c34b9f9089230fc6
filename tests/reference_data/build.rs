//! Whether the published pictures are at hand, so that tests that need them count as ignored where they are not.

fn main() {
    println!("cargo::rerun-if-changed=tests/reference_data/build.rs");
    println!("cargo::rerun-if-env-changed=PLATEPROOF_REFERENCE_DATA");
    println!("cargo::rustc-check-cfg=cfg(reference_data)");
    if std::env::var_os("PLATEPROOF_REFERENCE_DATA").is_some() {
        println!("cargo::rustc-cfg=reference_data");
    }
}
