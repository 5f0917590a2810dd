//! A bolt and what it clamps, named on the command line.
//!
//! Knows nothing of which command wants them.

use clap::Args as ClapArgs;

use super::CommandError;
use super::value::{TypedLength, length, millimeters};
use crate::mechanics::{BoltInJoint, BoltShape, Members, Strength, Thread};

/// A bolt's thread and what it is made of.
#[derive(Debug, ClapArgs)]
pub(super) struct Metal {
    /// The thread, as in M10x1.5, M10, 3/8-16 UNC, 3/8 BSW, 2BA, Tr 40x7.
    #[arg(long)]
    pub(super) thread: String,
    /// Property class: 4.6, 4.8, 5.6, 5.8, 6.8, 8.8, 9.8, 10.9, 12.9, A2-50 to A4-80, B7.
    #[arg(long, required_unless_present = "grade", conflicts_with = "grade")]
    class: Option<String>,
    /// SAE grade, structural bolt or B7: 1, 2, 5, 8, A325, A490, B7.
    #[arg(long)]
    grade: Option<String>,
}

impl Metal {
    /// Reads both.
    pub(super) fn read(&self) -> Result<(Thread, Strength), CommandError> {
        let thread: Thread = self.thread.parse().map_err(bad)?;
        let strength = match (&self.class, &self.grade) {
            (Some(class), _) => Strength::property_class(class, thread.major_mm),
            (None, Some(grade)) => Strength::grade(grade, thread.major_mm),
            (None, None) => {
                return Err(CommandError::bad(
                    "no strength given; allowed: --class 10.9 or --grade 8",
                ));
            }
        }
        .map_err(bad)?;
        Ok((thread, strength))
    }
}

/// What a bolt clamps, and how long it is inside.
#[derive(Debug, ClapArgs)]
pub(super) struct Clamped {
    /// Length clamped.
    #[arg(long, value_parser = length)]
    grip: TypedLength,
    /// Length inside the grip without thread; default: that of a bolt of the usual thread length.
    #[arg(long, value_parser = length)]
    shank: Option<TypedLength>,
    /// What is clamped: steel, aluminium or cast iron.
    #[arg(long, value_parser = members, default_value = "steel")]
    pub(super) members: Members,
}

impl Clamped {
    /// The bolt, and how it works in its joint; `shank_diameter` where it is not the thread's, `mu` the friction in the thread while it is loaded.
    pub(super) fn bolt(
        &self,
        (thread, strength): (&Thread, &Strength),
        shank_diameter: Option<TypedLength>,
        mu: f64,
    ) -> Result<(BoltShape, BoltInJoint), CommandError> {
        let shape = BoltShape::new(
            thread.clone(),
            millimeters(self.grip),
            self.shank.map(millimeters),
            shank_diameter.map(millimeters),
        )
        .map_err(bad)?;
        let in_joint = BoltInJoint::new(&shape, strength, self.members, mu).map_err(bad)?;
        Ok((shape, in_joint))
    }
}

fn members(text: &str) -> Result<Members, String> {
    Members::from_text(text)
        .ok_or_else(|| format!("`{text}` is not known; allowed: steel, aluminium, cast iron"))
}

/// Bad input in the words of the error.
pub(super) fn bad(error: impl std::error::Error) -> CommandError {
    CommandError::bad(error.to_string())
}
