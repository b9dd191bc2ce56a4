//! The manifest of a small bag, and in turn its tag manifest and its bag-info.txt.
#![no_main]

use emberbook_fuzz::in_folder;
use emberbook_fuzz::trail::bag::Bag;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    let Some((which, content)) = bytes.split_first() else {
        return;
    };
    let name = [
        "manifest-sha256.txt",
        "tagmanifest-sha256.txt",
        "bag-info.txt",
    ][usize::from(*which) % 3];
    in_folder(|folder| {
        let write = |file: &str, bytes: &[u8]| std::fs::write(folder.join(file), bytes).is_ok();
        let made = write(
            "bagit.txt",
            b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n",
        ) && write("manifest-sha256.txt", b"")
            && std::fs::create_dir(folder.join("data")).is_ok()
            && write("data/a.csv", b"a\n")
            && write(name, content);
        if made && let Ok(bag) = Bag::open(folder) {
            let _ = bag.check();
            for file in bag.payload_files() {
                let _ = bag.payload(&file);
            }
        }
    });
});
