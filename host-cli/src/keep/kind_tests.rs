//! What files are, by how they begin: ours, and others.

use super::Kind;
use landfall_box::file::to_bytes;
use landfall_core::watch::WatchSettings;
use landfall_learn::demo;
use landfall_plan::site::{demo_text, starter};
use landfall_tables::chain::Writer;

#[test]
fn our_own_files_are_known_and_plain_texts_are_not() {
    let settings = to_bytes(&WatchSettings::EXAMPLE).unwrap();
    let (session, _) = Writer::default().finish();
    let known: [(&[u8], Kind); 19] = [
        (b"SQLite format 3\0\x10", Kind::Database),
        (&[0xd9, 0xd5, 0x05, 0xf9, 0x20, 0xa1, 0x63, 0xd7, 0], Kind::Database),
        (demo_text().as_bytes(), Kind::Site),
        (starter().as_bytes(), Kind::Site),
        (b"[bag]\ngap = \"1 m\"\n", Kind::Site),
        (b"\xef\xbb\xbf# mine\n [ rider ] # who\n", Kind::Site),
        (b"time_s,gauge_pa\n0,1\n", Kind::Recording),
        (b"# torn\nTime (s);gauge_kpa;depth_cm\n", Kind::Recording),
        (demo::DEFLATION.as_bytes(), Kind::Recording),
        (demo::RUNS.as_bytes(), Kind::Measured),
        (demo::LOADED[0].as_bytes(), Kind::Recording),
        (b"drop,drop_mass_kg,drop_height_m,depth_m\n", Kind::Measured),
        (b"time_s,depth_cm\n", Kind::Recording),
        (b"run, lip_speed_kmh\n", Kind::Measured),
        (session.as_bytes(), Kind::Session),
        (&settings, Kind::Settings),
        (b"<!DOCTYPE html>\n", Kind::Page),
        (b"%PDF-1.7\n", Kind::Drawing),
        (b"[{\"a\": 1}]", Kind::Json),
    ];
    for (bytes, kind) in known {
        assert_eq!(Kind::of(bytes), Some(kind), "{}", String::from_utf8_lossy(bytes));
    }
    for text in
        ["", "Larch Hollow\n", "key,value,unit\n", "entry,row,run,lip_speed_mps\n1,1,a,8\n", "a,b\n1,2\n", "\n\n#\n"]
    {
        assert_eq!(Kind::of(text.as_bytes()), None, "{text}");
    }
}
