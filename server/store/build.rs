//! A new migration has to be built in, and cargo does not see the folder by itself.

fn main() {
    println!("cargo::rerun-if-changed=../../migrations");
}
