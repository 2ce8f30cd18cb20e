//! A problem that did not stop the work, with the address where it was seen.

use serde::{Deserialize, Serialize};

/// Something a person should know of; the work went on.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Problem {
    /// Address: `tags.csv:12 column gain`, `side.mp4 from 61.2 s to 63.0 s`.
    #[serde(rename = "where")]
    pub place: String,
    /// The value as it stood there; empty where the problem is not about a value.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub value: String,
    /// What is wrong.
    pub what: String,
    /// What was made of it; empty where nothing was.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub took: String,
}

impl Problem {
    /// A problem that is not about one value.
    pub fn new(place: impl Into<String>, what: impl Into<String>) -> Self {
        Self { place: place.into(), value: String::new(), what: what.into(), took: String::new() }
    }
}
