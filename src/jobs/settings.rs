//! The settings in force: built-in defaults, then the user's file, then the library's.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use serde::Deserialize;

use crate::base::{Error, IoContext, Result};
use crate::film::Codec;
use crate::plays;
use crate::reel::Profile;

/// The defaults that ship with the program.
pub const DEFAULTS: &str = include_str!("../../config/settings.toml");

/// All settings.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Settings {
    /// Clips.
    pub clip: ClipSettings,
    /// Cutups.
    pub cutup: CutupSettings,
    /// Segments rendered before.
    pub cache: CacheSettings,
    /// The night's work.
    pub watch: WatchSettings,
    /// Tag sheets.
    pub sheet: SheetSettings,
    /// The staff itself.
    #[serde(default)]
    pub staff: StaffSettings,
}

/// Whose library it is.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StaffSettings {
    /// The staff's own team, for "our ball".
    #[serde(default)]
    pub team: Option<String>,
}

/// How clips are cut.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ClipSettings {
    /// Seconds kept before the snap where film is trimmed.
    pub lead_in: f64,
    /// Seconds kept after the whistle where film is trimmed.
    pub tail: f64,
    /// x264 preset of frames encoded anew.
    pub preset: String,
    /// x264 constant rate factor of frames encoded anew.
    pub crf: u8,
}

/// How cutups are made.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CutupSettings {
    /// What a reel is for where nothing is said of it: tape, meeting or phone.
    pub profile: String,
    /// What a reel's pictures are encoded as: h264, hevc or av1.
    pub codec: String,
    /// Whether a play whose ends are both sure is shown from lead-in to tail only.
    pub trim: bool,
    /// x264 preset.
    pub preset: String,
    /// x264 constant rate factor.
    pub crf: u8,
}

/// What is kept of rendered reels.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CacheSettings {
    /// Most gigabytes (of 10^9 bytes) of rendered segments.
    pub segments_gb: f64,
}

impl CacheSettings {
    /// The same in bytes.
    pub fn bytes(&self) -> u64 {
        (self.segments_gb * 1e9) as u64
    }
}

/// How the inbox is worked off.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct WatchSettings {
    /// Seconds that a file must stay unchanged.
    pub settle: u64,
    /// Minutes that a game waits for a film that is not whole.
    pub patience: f64,
    /// Cores; 0: all.
    pub jobs: usize,
    /// Niceness, 0 to 19.
    pub nice: i32,
    /// Hours of the day, `08:00-18:00`; empty: none.
    pub quiet: String,
    /// Cores in those hours; 0: the work waits.
    pub quiet_jobs: usize,
    /// Gigabytes (of 10^9 bytes) kept free.
    pub reserve_gb: f64,
    /// Whether every play is rendered ahead.
    pub prepare: bool,
    /// A command after a game is done; empty: none.
    pub after_done: String,
    /// A command after a game has failed; empty: none.
    pub after_failed: String,
    /// Seconds that such a command may take.
    pub hook_seconds: u64,
    /// Words of names that tell a camera.
    pub angles: BTreeMap<String, Vec<String>>,
}

impl WatchSettings {
    /// The reserve in bytes.
    pub fn reserve(&self) -> u64 {
        (self.reserve_gb * 1e9) as u64
    }

    /// Minutes of the day at which the quiet hours begin and end; `None` where there are none.
    ///
    /// # Errors
    /// What is wrong, in words.
    pub fn quiet_hours(&self) -> std::result::Result<Option<(u32, u32)>, String> {
        if self.quiet.trim().is_empty() {
            return Ok(None);
        }
        let minute = |text: &str| {
            let (hours, minutes) = text.trim().split_once(':')?;
            let (hours, minutes): (u32, u32) = (hours.parse().ok()?, minutes.parse().ok()?);
            (hours < 24 && minutes < 60).then_some(hours * 60 + minutes)
        };
        let hours = self.quiet.split_once('-').and_then(|(from, to)| Some((minute(from)?, minute(to)?)));
        hours.map(Some).ok_or_else(|| format!("watch.quiet is \"{}\"; it takes hours such as 08:00-18:00", self.quiet))
    }
}

/// How sheets are read.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SheetSettings {
    /// A staff's own headers: header to field.
    #[serde(default)]
    pub columns: BTreeMap<String, String>,
}

/// Presets that x264 has ("placebo" and "ultrafast" help nobody here).
const PRESETS: [&str; 8] = ["superfast", "veryfast", "faster", "fast", "medium", "slow", "slower", "veryslow"];

impl Settings {
    /// Reads the files that exist, later ones over earlier ones, key by key.
    ///
    /// # Errors
    /// A file that cannot be read, a key that does not exist, a value of the wrong kind or out of its range.
    pub fn read(files: &[PathBuf]) -> Result<Self> {
        let shipped = Path::new("config/settings.toml");
        let mut all = parse(DEFAULTS, shipped)?;
        let mut settings = resolve(&all, shipped)?;
        for file in files.iter().filter(|f| f.exists()) {
            let text = std::fs::read_to_string(file).doing("read the settings", file)?;
            lay_over(&mut all, parse(&text, file)?);
            // Looked at after each file, so that an error names the right one.
            settings = resolve(&all, file)?;
        }
        Ok(settings)
    }

    /// The defaults as a file of which nothing is in force: every setting is there to be seen and freed.
    pub fn commented() -> String {
        let line = |line: &str| match line.chars().next() {
            None | Some('#' | '[') => line.to_string(),
            Some(_) => format!("# {line}"),
        };
        DEFAULTS.lines().map(line).collect::<Vec<_>>().join("\n") + "\n"
    }

    /// What the clips room is told; `trim` as the caller wants it.
    pub fn spans(&self, trim: bool) -> plays::Settings {
        plays::Settings { lead_in: self.clip.lead_in, tail: self.clip.tail, trim }
    }
}

fn parse(text: &str, file: &Path) -> Result<toml::Table> {
    toml::from_str(text).map_err(|cause: toml::de::Error| wrong(file, cause.to_string()))
}

fn resolve(all: &toml::Table, file: &Path) -> Result<Settings> {
    let settings: Settings = all.clone().try_into().map_err(|cause: toml::de::Error| wrong(file, cause.to_string()))?;
    for (name, value, most) in [("clip.lead_in", settings.clip.lead_in, 60.0), ("clip.tail", settings.clip.tail, 60.0)]
    {
        if !(0.0..=most).contains(&value) {
            return Err(wrong(file, format!("{name} is {value}; it takes 0 to {most} seconds")));
        }
    }
    let watch = &settings.watch;
    if !(0..=19).contains(&watch.nice) {
        return Err(wrong(file, format!("watch.nice is {}; it takes 0 to 19", watch.nice)));
    }
    for (name, value, most) in [("watch.patience", watch.patience, 1e5), ("watch.reserve_gb", watch.reserve_gb, 1e6)] {
        if !(0.0..=most).contains(&value) {
            return Err(wrong(file, format!("{name} is {value}; it takes 0 to {most}")));
        }
    }
    watch.quiet_hours().map_err(|cause| wrong(file, cause))?;
    if Profile::named(&settings.cutup.profile).is_none() {
        let cause = format!("cutup.profile is \"{}\"; it takes tape, meeting or phone", settings.cutup.profile);
        return Err(wrong(file, cause));
    }
    if Codec::named(&settings.cutup.codec).is_none() {
        let cause = format!("cutup.codec is \"{}\"; it takes h264, hevc or av1", settings.cutup.codec);
        return Err(wrong(file, cause));
    }
    if !(0.0..=1e6).contains(&settings.cache.segments_gb) {
        return Err(wrong(file, format!("cache.segments_gb is {}; it takes 0 to 1000000", settings.cache.segments_gb)));
    }
    for (name, crf) in [("clip.crf", settings.clip.crf), ("cutup.crf", settings.cutup.crf)] {
        if crf > 40 {
            return Err(wrong(file, format!("{name} is {crf}; it takes 0 (large) to 40 (ugly)")));
        }
    }
    for (name, preset) in [("clip.preset", &settings.clip.preset), ("cutup.preset", &settings.cutup.preset)] {
        if !PRESETS.contains(&preset.as_str()) {
            return Err(wrong(file, format!("{name} is \"{preset}\"; it takes one of {}", PRESETS.join(", "))));
        }
    }
    Ok(settings)
}

fn wrong(file: &Path, cause: String) -> Error {
    let next = "mend what is named; config/settings.toml of the sources shows every key";
    Error::refused("cannot understand the settings", file.display(), next).because(cause.trim().replace('\n', " "))
}

fn lay_over(under: &mut toml::Table, over: toml::Table) {
    for (key, value) in over {
        match (under.get_mut(&key), value) {
            (Some(toml::Value::Table(below)), toml::Value::Table(above)) => lay_over(below, above),
            (_, value) => {
                under.insert(key, value);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn later_files_win_key_by_key_and_a_wrong_key_names_its_file() {
        let folder = tempfile::tempdir().unwrap();
        let (user, library) = (folder.path().join("user.toml"), folder.path().join("downbox.toml"));
        std::fs::write(&user, "[clip]\nlead_in = 6.0\ntail = 3.0\n").unwrap();
        std::fs::write(&library, "[clip]\ntail = 2.5\n[sheet.columns]\n\"Sit\" = \"distance\"\n").unwrap();
        let settings = Settings::read(&[user.clone(), library.clone(), folder.path().join("absent.toml")]).unwrap();
        assert_eq!((settings.clip.lead_in, settings.clip.tail, settings.clip.crf), (6.0, 2.5, 18));
        assert_eq!(settings.sheet.columns["Sit"], "distance");

        for (text, part) in [
            ("[clip]\nlead = 2\n", "lead"),
            ("[clip]\ntail = -1\n", "0 to 60 seconds"),
            ("[cutup]\npreset = \"quick\"\n", "veryfast"),
            ("[cutup]\ncodec = \"vp9\"\n", "h264, hevc or av1"),
            ("[cutup]\ncrf = 60\n", "cutup.crf is 60"),
            ("[watch]\nnice = 20\n", "0 to 19"),
            ("[watch]\nquiet = \"8 to 18\"\n", "08:00-18:00"),
            ("[watch]\nreserve_gb = -1.0\n", "watch.reserve_gb"),
            ("[cutup\n", "cutup"),
        ] {
            std::fs::write(&library, text).unwrap();
            let error = Settings::read(&[user.clone(), library.clone()]).unwrap_err();
            assert!(error.place.ends_with("downbox.toml") && error.to_string().contains(part), "{text:?}: {error}");
        }
    }

    #[test]
    fn a_new_librarys_file_shows_every_setting_and_sets_none() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("downbox.toml");
        std::fs::write(&file, Settings::commented()).unwrap();
        assert_eq!(Settings::read(&[file]).unwrap(), Settings::read(&[]).unwrap());
        assert!(Settings::commented().contains("\n# lead_in = 4.0\n"), "{}", Settings::commented());
    }
}
