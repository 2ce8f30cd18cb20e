//! Whether the machine runs on battery, behind a trait so that tests say so.

use std::fs;
use std::path::PathBuf;

/// Where the power comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Supply {
    /// From the wall, or nobody knows.
    #[default]
    Mains,
    /// From the battery, so full in percent.
    Battery(u8),
}

/// Tells where the power comes from.
pub trait Power: Send {
    /// Now.
    fn supply(&self) -> Supply;
}

/// What the system says (sysfs, Linux: Documentation/ABI/testing/sysfs-class-power).
#[derive(Debug, Clone)]
pub struct SystemPower(pub PathBuf);

impl Default for SystemPower {
    fn default() -> Self {
        Self(PathBuf::from("/sys/class/power_supply"))
    }
}

impl Power for SystemPower {
    fn supply(&self) -> Supply {
        let mut battery: Option<u8> = None;
        for entry in fs::read_dir(&self.0).into_iter().flatten().flatten() {
            let read = |name: &str| fs::read_to_string(entry.path().join(name)).unwrap_or_default().trim().to_string();
            // A mouse has a battery, too.
            if read("scope") == "Device" {
                continue;
            }
            match read("type").as_str() {
                "Mains" | "USB" if read("online") == "1" => return Supply::Mains,
                "Battery" if read("status") == "Discharging" => {
                    let full: u8 = read("capacity").parse().unwrap_or(100);
                    battery = Some(battery.map_or(full, |other| other.max(full)));
                }
                _ => {}
            }
        }
        battery.map_or(Supply::Mains, Supply::Battery)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_laptop_without_its_cable_runs_on_battery() {
        let place = tempfile::tempdir().unwrap();
        let put = |name: &str, files: &[(&str, &str)]| {
            fs::create_dir_all(place.path().join(name)).unwrap();
            for (file, text) in files {
                fs::write(place.path().join(name).join(file), format!("{text}\n")).unwrap();
            }
        };
        let power = SystemPower(place.path().to_path_buf());
        assert_eq!(power.supply(), Supply::Mains, "a desktop has none");
        put("hid", &[("type", "Battery"), ("status", "Discharging"), ("capacity", "9"), ("scope", "Device")]);
        assert_eq!(power.supply(), Supply::Mains, "a mouse");
        put("BAT0", &[("type", "Battery"), ("status", "Discharging"), ("capacity", "41")]);
        put("AC", &[("type", "Mains"), ("online", "0")]);
        assert_eq!(power.supply(), Supply::Battery(41));
        put("AC", &[("online", "1")]);
        assert_eq!(power.supply(), Supply::Mains);
    }
}
