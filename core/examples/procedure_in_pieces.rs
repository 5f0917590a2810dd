//! A procedure stored, sent in pieces of 16 bytes and read piece by piece on the other side, where there is no room for all of it
//! at once; and what is said when a byte is damaged on the way.

use std::error::Error;

use evendraw_core::procedure::{
    Fastener, Parts, Prevailing, Procedure, Stage, StageKind, Step, Terms, TorqueWindow,
};
use evendraw_core::text::Label;
use evendraw_core::unit::Torque;

const PIECE: usize = 16;

fn main() -> Result<(), Box<dyn Error>> {
    let [min, target, max] = [22_000, 24_000, 26_000].map(Torque::from_millinewton_meters);
    let window = TorqueWindow { target, min, max };
    let procedure = Procedure::new(&Parts {
        fasteners: &["A", "B", "C"].map(|label| Fastener {
            label: Label::cut(label),
            near: [None; 4],
        }),
        stages: &[Stage::new(StageKind::Tighten {
            window,
            prevailing: Prevailing::None,
        })],
        steps: &[Step::on(0, 0), Step::on(2, 0), Step::on(1, 0)],
        overrides: &[],
        terms: Terms::default(),
    })?;
    let mut room = [0; 512];
    let stored = procedure.encode(&mut room)?;
    let mut pieces: Vec<Vec<u8>> = stored.chunks(PIECE).map(<[u8]>::to_vec).collect();
    println!(
        "{} bytes in {} pieces, digest {:08x}",
        stored.len(),
        pieces.len(),
        procedure.digest()
    );

    let there = received(stored.len(), &pieces)?;
    assert_eq!(there, procedure);
    println!("there: digest {:08x}", there.digest());

    if let Some(byte) = pieces.last_mut().and_then(|piece| piece.first_mut()) {
        *byte ^= 1;
    }
    match received(stored.len(), &pieces) {
        Ok(_) => return Err("a damaged procedure was taken".into()),
        Err(problem) => println!("with one bit changed: {problem}"),
    }
    Ok(())
}

/// Reads the procedure, fetching from whichever pieces a slice lies in.
fn received(
    length: usize,
    pieces: &[Vec<u8>],
) -> Result<Procedure, evendraw_core::procedure::ProcedureError> {
    Procedure::decode_from(length, |offset, into| {
        let bytes = pieces.iter().flatten().skip(offset);
        let mut filled = 0;
        for (place, byte) in into.iter_mut().zip(bytes) {
            *place = *byte;
            filled += 1;
        }
        filled == into.len()
    })
}
