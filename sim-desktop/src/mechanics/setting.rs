//! What to set a tool to: offset adapters, and which tool of the bench can do it.
//!
//! Knows nothing of plans or threads; a window of torque comes in, advice goes out.

use jiff::civil::Date;
use std::fmt;

/// An adapter that moves the fastener away from the tool's square drive: a crow's foot, an offset box end.
///
/// Torque at the fastener = reading·(L + E·cos α)/L. [NAVEDTRA 14315 fig. 3-45; TM 1-1500-204-23-9 p. 8-(143); only the part of the offset that
/// lies along the handle counts: TM 9-254 fig. 4-6]
///
/// # Examples
/// ```
/// use evendraw::mechanics::OffsetAdapter;
/// let straight_on = OffsetAdapter::new(12.0, 6.0, 0.0).unwrap(); // any one unit of length
/// assert!((straight_on.setting(100.0) - 66.7).abs() < 0.05); // [NAVEDTRA 14315 fig. 3-45]
/// assert!((straight_on.at_fastener(straight_on.setting(100.0)) - 100.0).abs() < 1e-9);
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OffsetAdapter {
    lever: f64,
    offset: f64,
    angle_deg: f64,
}

/// Why no setting can be said.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum SettingError {
    /// The handle's length must be positive.
    Lever(f64),
    /// The offset must not be negative: turn the angle instead.
    Offset(f64),
    /// The angle must be a number from −360° to 360°.
    Angle(f64),
    /// Turned towards the hand, the fastener lies at or behind the grip.
    BehindTheHand {
        /// Length from grip to square drive.
        lever: f64,
        /// The part of the offset along the handle; negative towards the hand.
        along: f64,
    },
    /// No graduation of the tool lies inside the window.
    NoGraduation {
        /// Lowest allowed reading, N·m.
        low_Nm: f64,
        /// Highest allowed reading, N·m.
        high_Nm: f64,
        /// The tool's graduation, N·m.
        step_Nm: f64,
    },
}

impl fmt::Display for SettingError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Lever(given) => write!(f, "lever {given} is not a length; allowed: above 0"),
            Self::Offset(given) => write!(
                f,
                "offset {given} is not a length; allowed: 0 or more, with an angle of 180° for towards the hand"
            ),
            Self::Angle(given) => write!(f, "angle {given}° is outside -360° to 360°"),
            Self::BehindTheHand { lever, along } => {
                write!(
                    f,
                    "the offset reaches {:.1} back towards a hand {lever:.1} from the drive; allowed: shorter than the lever",
                    -along
                )
            }
            Self::NoGraduation {
                low_Nm,
                high_Nm,
                step_Nm,
            } => {
                write!(
                    f,
                    "no graduation of {step_Nm} N·m lies between {low_Nm:.2} and {high_Nm:.2} N·m; take a tool with a finer step"
                )
            }
        }
    }
}

impl std::error::Error for SettingError {}

impl OffsetAdapter {
    /// From the length grip to drive, the offset drive to fastener (one unit for both), and the angle between them: 0° straight on and
    /// away from the hand, 90° square, 180° back towards the hand.
    ///
    /// # Errors
    /// [`SettingError`] by the number that makes no sense.
    pub fn new(lever: f64, offset: f64, angle_deg: f64) -> Result<Self, SettingError> {
        if !(lever.is_finite() && lever > 0.0) {
            return Err(SettingError::Lever(lever));
        }
        if !(offset.is_finite() && offset >= 0.0) {
            return Err(SettingError::Offset(offset));
        }
        if !(angle_deg.is_finite() && angle_deg.abs() <= 360.0) {
            return Err(SettingError::Angle(angle_deg));
        }
        let adapter = Self {
            lever,
            offset,
            angle_deg,
        };
        if adapter.lever + adapter.along() <= lever * 1e-3 {
            return Err(SettingError::BehindTheHand {
                lever,
                along: adapter.along(),
            });
        }
        Ok(adapter)
    }

    /// The part of the offset that lies along the handle. Right angles are exact.
    fn along(&self) -> f64 {
        let turned = self.angle_deg.rem_euclid(360.0);
        let cosine = if (turned - 90.0).abs() < 1e-9 || (turned - 270.0).abs() < 1e-9 {
            0.0
        } else {
            turned.to_radians().cos()
        };
        self.offset * cosine
    }

    /// Reading for each unit of torque at the fastener: L/(L + E·cos α).
    #[must_use]
    pub fn factor(&self) -> f64 {
        self.lever / (self.lever + self.along())
    }

    /// Reading or setting of the tool for a torque at the fastener, same unit.
    #[must_use]
    pub fn setting(&self, torque: f64) -> f64 {
        torque * self.factor()
    }

    /// Torque at the fastener for a reading or setting of the tool, same unit.
    #[must_use]
    pub fn at_fastener(&self, setting: f64) -> f64 {
        setting / self.factor()
    }
}

/// The readings allowed, N·m.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Window {
    /// Lowest.
    pub low_Nm: f64,
    /// Aimed at.
    pub target_Nm: f64,
    /// Highest.
    pub high_Nm: f64,
}

impl Window {
    /// The same window as an adapter makes the tool read it.
    #[must_use]
    pub fn through(self, adapter: OffsetAdapter) -> Self {
        Self {
            low_Nm: adapter.setting(self.low_Nm),
            target_Nm: adapter.setting(self.target_Nm),
            high_Nm: adapter.setting(self.high_Nm),
        }
    }
}

/// What sort of tool it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ToolKind {
    /// A digital torque adapter: read, not set.
    Adapter,
    /// A setting wrench that clicks.
    Click,
    /// A beam wrench.
    Beam,
    /// A dial wrench.
    Dial,
}

/// A torque tool on the bench.
#[derive(Debug, Clone, PartialEq)]
pub struct Tool {
    /// Its mark.
    pub id: String,
    /// What sort.
    pub kind: ToolKind,
    /// Highest torque, N·m.
    pub capacity_Nm: f64,
    /// Lowest usable torque, N·m; where not given, see [`Tool::lowest_Nm`].
    pub lowest_Nm: Option<f64>,
    /// Graduation, N·m; none if not stated.
    pub step_Nm: Option<f64>,
    /// Accuracy as a fraction of the reading; none if not stated.
    pub accuracy: Option<f64>,
    /// Day from which its calibration no longer holds.
    pub due: Option<Date>,
}

impl Tool {
    /// Lowest usable torque, N·m: as stated, else 20 % of capacity for click and dial. [ISO 6789: range from 20 % of the greatest value, 2nd
    /// hand] Adapters and beams with nothing stated: 0.
    #[must_use]
    pub fn lowest_Nm(&self) -> f64 {
        self.lowest_Nm.unwrap_or(match self.kind {
            ToolKind::Click | ToolKind::Dial => 0.2 * self.capacity_Nm,
            ToolKind::Adapter | ToolKind::Beam => 0.0,
        })
    }
}

/// What is said about one tool for one torque.
#[derive(Debug, Clone, PartialEq)]
pub struct Advice {
    /// The tool.
    pub id: String,
    /// What to set or pull to, N·m, on a graduation and inside the window; none if the tool is refused.
    pub setting_Nm: Option<f64>,
    /// Why it is refused; empty if it is not.
    pub refused: Vec<String>,
    /// What to know when using it: due soon, wider than the window.
    pub notes: Vec<String>,
}

impl Advice {
    /// Whether the tool may be used.
    #[must_use]
    pub fn usable(&self) -> bool {
        self.refused.is_empty()
    }
}

/// The graduation nearest the target and inside the window, N·m.
///
/// # Errors
/// [`SettingError::NoGraduation`] when the window lies between two graduations.
pub fn round_into(window: Window, step_Nm: f64) -> Result<f64, SettingError> {
    let slack = 1e-9 * window.high_Nm.abs().max(1.0);
    let inside =
        |reading: f64| reading >= window.low_Nm - slack && reading <= window.high_Nm + slack;
    let nearest = (window.target_Nm / step_Nm).round();
    [
        nearest,
        (window.low_Nm / step_Nm - 1e-9).ceil(),
        (window.high_Nm / step_Nm + 1e-9).floor(),
    ]
    .into_iter()
    .map(|count| count * step_Nm)
    .filter(|reading| inside(*reading))
    .min_by(|a, b| {
        (a - window.target_Nm)
            .abs()
            .total_cmp(&(b - window.target_Nm).abs())
    })
    .ok_or(SettingError::NoGraduation {
        low_Nm: window.low_Nm,
        high_Nm: window.high_Nm,
        step_Nm,
    })
}

/// Judges each tool for a window of readings and the greatest torque to expect (a following angle may end higher), best first: usable
/// before refused, then the finer accuracy, then the smaller capacity. `words` puts a torque in N·m as a person reads it.
#[must_use]
pub fn advise(
    tools: &[Tool],
    window: Window,
    greatest_Nm: f64,
    today: Date,
    words: &dyn Fn(f64) -> String,
) -> Vec<Advice> {
    let mut ranked: Vec<(f64, f64, Advice)> = tools
        .iter()
        .map(|tool| {
            let mut advice = Advice {
                id: tool.id.clone(),
                setting_Nm: None,
                refused: Vec::new(),
                notes: Vec::new(),
            };
            let greatest = greatest_Nm.max(window.high_Nm);
            if greatest > tool.capacity_Nm {
                advice.refused.push(format!(
                    "its capacity of {} is below the {} to expect",
                    words(tool.capacity_Nm),
                    words(greatest)
                ));
            }
            if window.target_Nm < tool.lowest_Nm() {
                advice.refused.push(format!(
                    "{} is below its lowest usable {}",
                    words(window.target_Nm),
                    words(tool.lowest_Nm())
                ));
            }
            match tool.due {
                Some(due) if due < today => advice
                    .refused
                    .push(format!("its calibration ran out on {due}")),
                Some(due) if (due - today).get_days() <= 30 => {
                    advice.notes.push(format!("calibration due on {due}"))
                }
                Some(_) => {}
                None => advice.notes.push("no calibration date known".to_owned()),
            }
            let setting = match tool.step_Nm {
                Some(step) => round_into(window, step),
                None => Ok(window.target_Nm),
            };
            match setting {
                Ok(setting) if advice.refused.is_empty() => {
                    advice.setting_Nm = Some(setting);
                    if let Some(accuracy) = tool.accuracy {
                        let (low, high) = (setting * (1.0 - accuracy), setting * (1.0 + accuracy));
                        if low < window.low_Nm || high > window.high_Nm {
                            advice.notes.push(format!(
                                "its ±{:.1} % at {} is wider than the window",
                                accuracy * 100.0,
                                words(setting)
                            ));
                        }
                    }
                }
                Ok(_) => {}
                Err(SettingError::NoGraduation {
                    low_Nm,
                    high_Nm,
                    step_Nm,
                }) => advice.refused.push(format!(
                    "no graduation of {} lies between {} and {}",
                    words(step_Nm),
                    words(low_Nm),
                    words(high_Nm)
                )),
                Err(error) => advice.refused.push(error.to_string()),
            }
            (
                tool.accuracy.unwrap_or(f64::INFINITY),
                tool.capacity_Nm,
                advice,
            )
        })
        .collect();
    ranked.sort_by(|a, b| {
        b.2.usable()
            .cmp(&a.2.usable())
            .then(a.0.total_cmp(&b.0))
            .then(a.1.total_cmp(&b.1))
    });
    ranked.into_iter().map(|(_, _, advice)| advice).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    fn tool(id: &str, kind: ToolKind, capacity_Nm: f64, step_Nm: f64, due: Date) -> Tool {
        Tool {
            id: id.into(),
            kind,
            capacity_Nm,
            lowest_Nm: None,
            step_Nm: Some(step_Nm),
            accuracy: Some(0.04),
            due: Some(due),
        }
    }

    #[test]
    fn a_setting_is_on_a_graduation_and_inside_the_window() {
        let window = Window {
            low_Nm: 38.4,
            target_Nm: 40.1,
            high_Nm: 41.6,
        };
        assert!((round_into(window, 1.0).unwrap() - 40.0).abs() < 1e-9);
        assert!((round_into(window, 0.5).unwrap() - 40.0).abs() < 1e-9);
        // The nearest graduation lies outside: the one inside is taken although it is further off.
        let lopsided = Window {
            low_Nm: 40.0,
            target_Nm: 40.2,
            high_Nm: 45.5,
        };
        assert!((round_into(lopsided, 5.0).unwrap() - 40.0).abs() < 1e-9);
        let upper = Window {
            low_Nm: 41.0,
            target_Nm: 41.5,
            high_Nm: 45.5,
        };
        assert!((round_into(upper, 5.0).unwrap() - 45.0).abs() < 1e-9);
        let narrow = Window {
            low_Nm: 41.0,
            target_Nm: 42.0,
            high_Nm: 43.0,
        };
        assert!(matches!(
            round_into(narrow, 5.0),
            Err(SettingError::NoGraduation { .. })
        ));
    }

    #[test]
    fn a_tool_out_of_range_or_date_is_refused_with_the_reason() {
        let today = date(2026, 11, 25);
        let tools = [
            tool("small", ToolKind::Click, 30.0, 0.5, date(2027, 5, 4)),
            tool("large", ToolKind::Click, 300.0, 1.0, date(2027, 5, 4)),
            tool("stale", ToolKind::Click, 100.0, 0.5, date(2026, 11, 24)),
            tool("right", ToolKind::Click, 100.0, 0.5, date(2026, 12, 1)),
        ];
        let advice = advise(
            &tools,
            Window {
                low_Nm: 38.4,
                target_Nm: 40.0,
                high_Nm: 41.6,
            },
            40.0,
            today,
            &|torque| format!("{torque:.1} N·m"),
        );
        assert_eq!(advice[0].id, "right");
        assert_eq!(advice[0].setting_Nm, Some(40.0));
        assert_eq!(advice[0].notes, ["calibration due on 2026-12-01"]);
        let why = |id: &str| {
            advice
                .iter()
                .find(|a| a.id == id)
                .unwrap()
                .refused
                .join("; ")
        };
        assert!(
            why("small").contains("capacity of 30.0"),
            "{}",
            why("small")
        );
        assert!(
            why("large").contains("lowest usable 60.0"),
            "{}",
            why("large")
        );
        assert!(
            why("stale").contains("ran out on 2026-11-24"),
            "{}",
            why("stale")
        );
        // An angle after the torque ends higher than the tool can bear.
        let turned = advise(
            &tools,
            Window {
                low_Nm: 38.4,
                target_Nm: 40.0,
                high_Nm: 41.6,
            },
            120.0,
            today,
            &|torque| format!("{torque:.1} N·m"),
        );
        assert!(turned.iter().all(|a| !a.usable()));
    }

    #[test]
    fn nonsense_lengths_and_angles_are_refused() {
        assert!(matches!(
            OffsetAdapter::new(0.0, 4.0, 0.0),
            Err(SettingError::Lever(_))
        ));
        assert!(matches!(
            OffsetAdapter::new(f64::NAN, 4.0, 0.0),
            Err(SettingError::Lever(_))
        ));
        assert!(matches!(
            OffsetAdapter::new(10.0, -4.0, 0.0),
            Err(SettingError::Offset(_))
        ));
        assert!(matches!(
            OffsetAdapter::new(10.0, 4.0, 400.0),
            Err(SettingError::Angle(_))
        ));
        assert!(matches!(
            OffsetAdapter::new(10.0, 10.0, 180.0),
            Err(SettingError::BehindTheHand { .. })
        ));
    }
}
