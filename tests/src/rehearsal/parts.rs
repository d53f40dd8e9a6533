//! Who plays what: the committed recordings, dealt out to two harpists, with the truth of each.

use std::path::{Path, PathBuf};

use consort_proto::{Hz, Note, StringNumber, harp_file, order};

/// One harpist's recordings, in the order of her tuning.
#[derive(Clone, Debug)]
pub(crate) struct Part {
    /// An invented player.
    pub(crate) player: &'static str,
    pub(crate) strings: Vec<Recorded>,
}

/// One recording and the truth about it.
#[derive(Clone, Debug)]
pub(crate) struct Recorded {
    pub(crate) file: PathBuf,
    pub(crate) string: StringNumber,
    pub(crate) true_hz: Hz,
}

/// Deals the clean recordings out in the usual order: one harpist from middle C down, the other from the D above up.
pub(crate) fn cast() -> Result<[Part; 2], String> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("recordings");
    let recorded = read(&folder)?;
    let harp = harp_file::preset("pedal-47").ok_or("there is no pedal-47")?;
    let (mut low, mut high) = (Vec::new(), Vec::new());
    for number in order::usual_order(&harp) {
        let string = harp
            .string(number)
            .ok_or("the order names a string that the harp has not")?;
        let of_it = recorded.iter().filter(|recorded| recorded.string == number).cloned();
        if string.open.steps() <= Note::from_harp_name("4C").map_err(|why| why.to_string())?.steps() {
            low.extend(of_it);
        } else {
            high.extend(of_it);
        }
    }
    Ok([
        Part {
            player: "Runa",
            strings: low,
        },
        Part {
            player: "Teodor",
            strings: high,
        },
    ])
}

fn read(folder: &Path) -> Result<Vec<Recorded>, String> {
    let manifest = folder.join("manifest.csv");
    let text = std::fs::read_to_string(&manifest).map_err(|why| format!("{}: {why}", manifest.display()))?;
    let mut lines = text.lines();
    let names: Vec<&str> = lines.next().unwrap_or_default().split(',').collect();
    let mut recorded = Vec::new();
    for line in lines {
        let cells: Vec<&str> = line.split(',').collect();
        let cell = |name: &str| {
            let place = names.iter().position(|known| *known == name);
            place
                .and_then(|place| cells.get(place))
                .copied()
                .ok_or_else(|| format!("{line}: no {name}"))
        };
        if cell("cond")? != "clean" {
            continue;
        }
        // The manifest counts the 47 strings from the lowest.
        let from_bottom: u32 = cell("string_index")?.parse().map_err(|why| format!("{line}: {why}"))?;
        let hz: f64 = cell("hz")?.parse().map_err(|why| format!("{line}: {why}"))?;
        recorded.push(Recorded {
            file: folder.join(cell("file")?),
            string: StringNumber::new(48 - from_bottom).map_err(|why| why.to_string())?,
            true_hz: Hz::new(hz).map_err(|why| why.to_string())?,
        });
    }
    if recorded.is_empty() {
        Err(format!("{} names no clean recording", manifest.display()))
    } else {
        Ok(recorded)
    }
}
