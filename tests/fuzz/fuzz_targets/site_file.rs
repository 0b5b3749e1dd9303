//! The site file's reader on whatever the fuzzer finds: no panic, no value that is not finite, every fault with a place.
#![no_main]

use landfall_plan::site::{KEYS, SiteFile, read_site};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| {
    let text = String::from_utf8_lossy(data);
    match read_site(&text, "fuzz.toml") {
        Ok(site) => {
            for key in KEYS {
                assert!(key.get(&site).is_none_or(f64::is_finite), "{}", key.dotted);
                // The ends of every range, set on whatever site was read.
                for si in [key.low, key.high] {
                    let _ = site.with_value(key.dotted, si);
                }
            }
        }
        Err(faults) => {
            assert!(!faults.faults.is_empty());
            assert!(faults.faults.iter().all(|fault| fault.line > 0 && fault.column > 0 && fault.width > 0));
            let _ = faults.to_string();
        }
    }
    if let Ok(mut file) = SiteFile::parse(&text, "fuzz.toml") {
        let edited = file.set("rider.mass", "78 kg");
        assert!(edited.is_err() || file.value("rider.mass").is_some());
        let _ = file.site("fuzz.toml");
    }
});
