//! What the desk remembers from one day to the next that is no part of any job: sound, light or dark, size, unit.
//!
//! A small TOML file in the user's state folder. Knows nothing of jobs.

use std::path::Path;

/// How this person likes the desk.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(default)]
pub struct Settings {
    /// Cues are heard as well as seen.
    pub sound: bool,
    /// Dark or light; as the system has it, where nothing was chosen.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub dark: Option<bool>,
    /// Drawn larger than fits by itself, in eighths.
    pub larger: i8,
    /// Torque is read in N·m, whatever unit the plan has.
    pub newton_meters: bool,
}

impl Settings {
    /// As they were left; as they are at first, where nothing that reads was left.
    #[must_use]
    pub fn load(path: &Path) -> Self {
        std::fs::read_to_string(path)
            .ok()
            .and_then(|text| toml::from_str(&text).ok())
            .unwrap_or_default()
    }

    /// Keeps them.
    ///
    /// # Errors
    /// In words, when the file cannot be written.
    pub fn save(&self, path: &Path) -> Result<(), String> {
        let text = toml::to_string(self).map_err(|error| error.to_string())?;
        if let Some(folder) = path.parent() {
            std::fs::create_dir_all(folder).map_err(|error| error.to_string())?;
        }
        std::fs::write(path, text)
            .map_err(|error| format!("{} cannot be written: {error}", path.display()))
    }
}

#[cfg(test)]
mod tests {
    use super::Settings;

    #[test]
    fn settings_come_back_as_they_were_left_and_a_broken_file_is_a_fresh_start() {
        let folder = std::env::temp_dir().join(format!("evendraw-settings-{}", std::process::id()));
        let path = folder.join("deep/desk.toml");
        assert_eq!(Settings::load(&path), Settings::default());
        let chosen = Settings {
            sound: true,
            dark: Some(false),
            larger: 3,
            newton_meters: true,
        };
        chosen.save(&path).unwrap();
        assert_eq!(Settings::load(&path), chosen);
        std::fs::write(&path, "sound = perhaps").unwrap();
        assert_eq!(Settings::load(&path), Settings::default());
        // A key of a later version is passed over.
        std::fs::write(&path, "sound = true\nlater = 1\n").unwrap();
        assert!(Settings::load(&path).sound);
        let _ = std::fs::remove_dir_all(&folder);
    }
}
