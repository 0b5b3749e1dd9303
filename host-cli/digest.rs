// A digest of the sources that the page's answers are computed by. Both build scripts take it: the module carries it,
// and the command compares it with its own.

/// FNV-1a over names and contents, in the order of the names; line ends of either kind count alike.
fn digest_of_sources(host_cli: &std::path::Path) -> u64 {
    let mut files = Vec::new();
    for folder in ["../core/src", "src"] {
        collect(&host_cli.join(folder), folder, &mut files);
    }
    files.sort();
    let mut digest = 0xcbf2_9ce4_8422_2325_u64;
    for (name, path) in files {
        let text = std::fs::read(path).unwrap_or_default();
        for byte in name.bytes().chain(text.into_iter().filter(|byte| *byte != b'\r')) {
            digest = (digest ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3);
        }
    }
    digest
}

/// What the module is compiled from: not the command line, nor what stands in the page around it.
fn collect(folder: &std::path::Path, name: &str, out: &mut Vec<(String, std::path::PathBuf)>) {
    const APART: [&str; 7] =
        ["src/cli", "src/box_side", "src/build", "src/main.rs", "src/commands_site.rs", "src/page/html.rs", "src/serve"];
    let Ok(entries) = std::fs::read_dir(folder) else { return };
    for entry in entries.flatten() {
        let path = entry.path();
        let name = format!("{name}/{}", entry.file_name().to_string_lossy());
        if APART.contains(&name.as_str()) {
            continue;
        }
        if path.is_dir() {
            collect(&path, &name, out);
        } else if name.ends_with(".rs") || name.ends_with(".toml") {
            out.push((name, path));
        }
    }
}
