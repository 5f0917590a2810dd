//! `evendraw preload`: what a torque does to a bolt, and the torque for a wanted preload.
//!
//! Knows nothing of how it is calculated.

use clap::{Args as ClapArgs, ValueEnum};
use serde::Serialize;

use super::metal::{Metal, bad};
use super::value::{
    TypedLength, TypedTorque, force, length, millimeters, newton_meters, share, torque,
};
use super::{CommandError, Done, Output};
use crate::mechanics::{
    Bearing, BoltLoad, Condition, Friction, Method, Scatter, Thread, TorqueTension, Wanted,
    angle_for_preload_deg, fastener_stiffness_N_per_mm, member_stiffness_N_per_mm,
};

/// Preload, stress, share of proof load and scatter for a torque; or the torque for a wanted preload.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  \
        evendraw preload --thread M10x1.5 --class 10.9 --torque \"60 N·m\" --k 0.18\n  \
        evendraw preload --thread \"3/8-16 UNC\" --grade 8 --torque \"44 lbf·ft\" --mu-thread 0.12 --mu-head 0.12\n  \
        evendraw preload --thread M12 --class 8.8 --torque \"80 N·m\" --condition oiled --grip \"40 mm\"\n  \
        evendraw preload --thread M10 --class 8.8 --want \"20 kN\" --k 0.2\n  \
        evendraw preload --thread M20 --class 8.8 --share-proof \"75 %\" --condition dry\n\n\
        A calculation, not a specification: the maker's torque stands.")]
pub(super) struct Args {
    #[command(flatten)]
    metal: Metal,
    /// The torque, with its unit.
    #[arg(long, value_parser = torque, required_unless_present_any = ["want", "share_proof", "share_yield"])]
    torque: Option<TypedTorque>,
    /// The other way round: the preload wanted, as in "30 kN".
    #[arg(long, value_parser = force, conflicts_with = "torque")]
    want: Option<f64>,
    /// The other way round: the share of the proof load wanted, as in "75 %".
    #[arg(long, value_parser = share, conflicts_with_all = ["torque", "want"])]
    share_proof: Option<f64>,
    /// The other way round: the share of yield wanted, tension and torsion together, as in "90 %".
    #[arg(long, value_parser = share, conflicts_with_all = ["torque", "want", "share_proof"])]
    share_yield: Option<f64>,
    /// Nut factor K of T = K·d·F.
    #[arg(long, conflicts_with_all = ["mu_thread", "mu_head", "condition"], required_unless_present_any = ["mu_thread", "condition"])]
    k: Option<f64>,
    /// Friction in the thread.
    #[arg(long, requires = "mu_head", conflicts_with = "condition")]
    mu_thread: Option<f64>,
    /// Friction under the head or nut.
    #[arg(long, requires = "mu_thread")]
    mu_head: Option<f64>,
    /// What is on the threads, in place of numbers: dry, oiled, threadlocker, sealant or a compound.
    #[arg(long)]
    condition: Option<String>,
    /// How it is tightened; sets the scatter. Default: torque wrench, or torque-dry with `--condition dry`.
    #[arg(long, value_enum)]
    method: Option<By>,
    /// Length clamped; with it the angle from snug is calculated for steel parts.
    #[arg(long, value_parser = length)]
    grip: Option<TypedLength>,
}

/// How a fastener is tightened.
#[derive(Debug, Clone, Copy, ValueEnum)]
enum By {
    /// By feel, ±35 %.
    Feel,
    /// Torque wrench, ±25 %.
    Torque,
    /// Torque wrench on unlubricated threads, ±35 %.
    TorqueDry,
    /// Turn of nut, ±15 %.
    Turn,
    /// Yield-sensing, ±8 %.
    Yield,
    /// Measured elongation, ±5 %.
    Stretch,
}

impl By {
    fn scatter(self) -> Scatter {
        match self {
            Self::Feel => Method::Feel,
            Self::Torque => Method::Torque,
            Self::TorqueDry => Method::TorqueDry,
            Self::Turn => Method::Turn,
            Self::Yield => Method::Yield,
            Self::Stretch => Method::Stretch,
        }
        .scatter()
    }
}

#[derive(Serialize)]
#[expect(
    non_snake_case,
    reason = "the keys are the contract's: SI units as SI writes them"
)]
struct Answer {
    torque_Nm: f64,
    preload_kN: f64,
    stress_MPa: f64,
    proof_ratio: f64,
    low_kN: f64,
    high_kN: f64,
    stress_area_mm2: f64,
    combined_MPa: f64,
    yield_ratio: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    angle_deg: Option<f64>,
}

/// Runs the command.
pub(super) fn run(args: &Args, out: &mut Output<'_>) -> Result<Done, CommandError> {
    let (thread, strength) = args.metal.read()?;
    let tension = match (args.k, args.mu_thread.zip(args.mu_head), &args.condition) {
        (Some(k), _, _) => TorqueTension::NutFactor(k),
        (None, Some((thread, head)), _) => TorqueTension::Friction(Friction { thread, head }),
        (None, None, Some(condition)) => {
            TorqueTension::Friction(Condition::from_text(condition).friction())
        }
        (None, None, None) => {
            return Err(CommandError::bad(
                "no friction given; allowed: --k, --mu-thread with --mu-head, or --condition",
            ));
        }
    };
    let dry = args
        .condition
        .as_deref()
        .is_some_and(|text| Condition::from_text(text) == Condition::Dry);
    let method = args
        .method
        .unwrap_or(if dry { By::TorqueDry } else { By::Torque });
    let bearing = Bearing::hexagon(&thread);
    let scatter = method.scatter();
    let wanted = (args.want.map(Wanted::Force))
        .or(args.share_proof.map(Wanted::ProofShare))
        .or(args.share_yield.map(Wanted::YieldShare));
    let (turned_to, load) = match (args.torque, wanted) {
        (_, Some(wanted)) => wanted.torque(&thread, &strength, bearing, tension, scatter),
        (Some(torque), None) => {
            let torque = newton_meters(torque);
            BoltLoad::calculate(&thread, &strength, bearing, tension, torque, scatter)
                .map(|load| (torque, load))
        }
        (None, None) => {
            return Err(CommandError::bad(
                "no torque given; allowed: --torque, --want, --share-proof or --share-yield",
            ));
        }
    }
    .map_err(bad)?;
    let grip_mm = args.grip.map(millimeters);
    if let Some(grip) =
        grip_mm.filter(|grip| !(0.1 * thread.major_mm..=500.0 * thread.major_mm).contains(grip))
    {
        return Err(CommandError::bad(format!(
            "grip {grip} mm is outside {:.1} to {:.0} mm for {thread}",
            0.1 * thread.major_mm,
            500.0 * thread.major_mm
        )));
    }
    let angle_deg = grip_mm.map(|grip| {
        let bolt = fastener_stiffness_N_per_mm(&thread, grip);
        let members = member_stiffness_N_per_mm(205_000.0, thread.major_mm, bearing.face_mm, grip);
        angle_for_preload_deg(load.preload_N, thread.pitch_mm, bolt, members)
    });
    out.object(&Answer {
        torque_Nm: turned_to,
        preload_kN: load.preload_N / 1000.0,
        stress_MPa: load.stress_MPa,
        proof_ratio: load.proof_ratio,
        low_kN: load.low_N / 1000.0,
        high_kN: load.high_N / 1000.0,
        stress_area_mm2: load.stress_area_mm2,
        combined_MPa: load.combined_MPa,
        yield_ratio: load.yield_ratio,
        angle_deg,
    })?;
    say(&load, &thread, args, turned_to, angle_deg, out)?;
    Ok(Done::Good)
}

fn say(
    load: &BoltLoad,
    thread: &Thread,
    args: &Args,
    turned_to: f64,
    angle_deg: Option<f64>,
    out: &mut Output<'_>,
) -> Result<(), CommandError> {
    match args.torque {
        Some(torque) => out.line(format_args!("{thread} at {torque}"))?,
        None => {
            out.line(format_args!("{thread}"))?;
            out.line(format_args!(
                "  torque         {turned_to:.1} N·m for this preload"
            ))?;
        }
    }
    out.line(format_args!(
        "  preload        {:.1} kN, expect {:.1} to {:.1} kN",
        load.preload_N / 1000.0,
        load.low_N / 1000.0,
        load.high_N / 1000.0
    ))?;
    out.line(format_args!(
        "  stress         {:.0} MPa over {:.1} mm²",
        load.stress_MPa, load.stress_area_mm2
    ))?;
    out.line(format_args!(
        "  proof load     {:.0} %",
        load.proof_ratio * 100.0
    ))?;
    out.line(format_args!(
        "  with torsion   {:.0} MPa, {:.0} % of yield",
        load.combined_MPa,
        load.yield_ratio * 100.0
    ))?;
    if let Some(angle) = angle_deg {
        out.line(format_args!(
            "  from snug      about {angle:.0}° with steel parts"
        ))?;
    }
    if load.yield_ratio > 1.0 {
        out.line("  beyond yield: the bolt stretches for good at this torque, and these elastic figures no longer hold")?;
    } else if load.proof_ratio > 1.0 {
        out.line("  beyond the proof load of this strength")?;
    } else if load.high_N / load.preload_N * load.proof_ratio > 1.0 {
        out.line("  the scatter reaches beyond the proof load")?;
    }
    if args.torque.is_none() {
        out.line("  friction decides: the same torque may give any preload in that range; where the maker states a torque, that is the torque")?;
    }
    Ok(())
}
