//! Whole transfers, answer by answer: gaps, other journals, pieces that overlap, offers that are forgotten.

use evendraw_core::journal::{FIRST_SEED, Found, Frame, OVERHEAD, Scan, encode, frame_at};
use evendraw_core::limits::PAYLOAD_MAX;
use evendraw_core::link::{
    Gap, PIECE_MAX, PullError, PullJournal, Refused, Reply, Request, SendProcedure, SendStep,
    StageError, Staging,
};

/// Frames with these sequence numbers, chained; each with the seed in front of it.
fn chain(sequences: impl IntoIterator<Item = u32>) -> Vec<(u32, Vec<u8>, u32)> {
    let mut seed = FIRST_SEED;
    let made = |sequence: u32| {
        let payload = sequence.to_le_bytes();
        let frame = Frame {
            kind: 200,
            version: 1,
            sequence,
            payload: &payload,
        };
        let mut room = [0; PAYLOAD_MAX + OVERHEAD];
        let bytes = encode(&frame, seed, &mut room).expect("fits").to_vec();
        let before = seed;
        seed = frame_at(&bytes, seed).expect("its own").1;
        (before, bytes, seed)
    };
    sequences.into_iter().map(made).collect()
}

fn frames(last: u32, seed: u32, bytes: &[u8]) -> Reply<'_> {
    Reply::Frames { last, seed, bytes }
}

#[test]
fn frames_are_taken_once_in_order_and_only_proved() {
    let chain = chain(1..=4);
    let two = [chain[0].1.clone(), chain[1].1.clone()].concat();
    let mut pull = PullJournal::from_start();
    assert_eq!(pull.request(), Request::Pull { from: 1 });
    let step = pull.answered(&frames(4, FIRST_SEED, &two)).expect("proved");
    assert_eq!(
        (step.gap, step.frames, step.more),
        (None, two.as_slice(), true)
    );
    assert_eq!(pull.request(), Request::Pull { from: 3 });
    // The same answer again, a later frame with its own seed but the numbers of the next, damage, nothing new.
    assert_eq!(
        pull.answered(&frames(4, FIRST_SEED, &two)),
        Err(PullError::Damaged)
    );
    assert_eq!(
        pull.answered(&frames(4, chain[3].0, &chain[2].1)),
        Err(PullError::Damaged)
    );
    let mut damaged = chain[2].1.clone();
    damaged[9] ^= 1;
    assert_eq!(
        pull.answered(&frames(4, chain[2].0, &damaged)),
        Err(PullError::Damaged)
    );
    assert_eq!(pull.last(), 2, "nothing was taken");
    let step = pull
        .answered(&frames(4, chain[2].0, &[]))
        .expect("nothing is nothing");
    assert_eq!((step.frames, step.more), (&[][..], false));
    let step = pull
        .answered(&frames(4, chain[2].0, &chain[2].1))
        .expect("proved");
    assert!(step.more);
    let step = pull
        .answered(&frames(4, chain[3].0, &chain[3].1))
        .expect("proved");
    assert!(!step.more);
    assert_eq!(pull.answered(&Reply::Anchored), Err(PullError::WrongAnswer));
    let refused = Reply::Refused {
        why: Refused::Store,
        at: 0,
    };
    assert_eq!(
        pull.answered(&refused),
        Err(PullError::Refused(Refused::Store))
    );
}

#[test]
fn another_journal_is_not_appended() {
    let (ours, theirs) = (chain(1..=3), chain([1, 2, 4]));
    // Another adapter's third frame after our two, and a journal that is shorter than what is kept.
    let mut pull = PullJournal::after(2, ours[1].2 ^ 1);
    assert_eq!(
        pull.answered(&frames(3, ours[2].0, &ours[2].1)),
        Err(PullError::OtherJournal)
    );
    let mut pull = PullJournal::after(3, ours[2].2);
    assert_eq!(
        pull.answered(&frames(2, theirs[1].2, &[])),
        Err(PullError::OtherJournal)
    );
    assert_eq!(pull.last(), 3);
}

#[test]
fn what_the_adapter_lost_is_kept_as_a_gap_that_reads_as_damage() {
    let chain = chain([1, 2, 6, 7]);
    // As if 3 to 5 had been there: their last sum stands in front of 6.
    let mut pull = PullJournal::after(2, chain[1].2);
    let seed = 0xABCD_1234;
    let payload = [9; 4];
    let mut room = [0; PAYLOAD_MAX + OVERHEAD];
    let six = encode(
        &Frame {
            kind: 200,
            version: 1,
            sequence: 6,
            payload: &payload,
        },
        seed,
        &mut room,
    )
    .expect("fits")
    .to_vec();
    let step = pull
        .answered(&frames(6, seed, &six))
        .expect("a gap is told, not refused");
    assert_eq!(
        step.gap,
        Some(Gap {
            from: 3,
            to: 6,
            seed
        })
    );
    let mut copy = [chain[0].1.clone(), chain[1].1.clone()].concat();
    copy.extend_from_slice(&seed.to_le_bytes());
    copy.extend_from_slice(step.frames);
    let found: Vec<Found<'_>> = Scan::new(&copy).collect();
    let at = chain[0].1.len() + chain[1].1.len();
    assert_eq!(
        found[2],
        Found::Damaged {
            from: at,
            to: at + 4
        }
    );
    assert!(matches!(
        found[3],
        Found::Frame {
            frame: Frame { sequence: 6, .. },
            ..
        }
    ));
}

#[test]
fn pieces_overlap_repeat_and_jump_and_each_byte_is_written_once() {
    let blob: Vec<u8> = (0..700_u16).map(|at| at.to_le_bytes()[0]).collect();
    let sending = SendProcedure::new(3, &blob);
    let Request::Offer { slot, length, sum } = sending.request() else {
        panic!("an offer comes first");
    };
    let mut staging = Staging::new();
    assert_eq!(
        staging.piece(slot, 0, &blob[..10]),
        Err(StageError::NotOffered)
    );
    assert_eq!(staging.commit(slot), Err(StageError::NotOffered));
    assert_eq!(
        staging.offer(slot, length, sum),
        Reply::Have { slot, have: 0 }
    );
    let mut written = Vec::new();
    let mut put = |staging: &mut Staging, from: usize, to: usize| {
        let offset = u32::try_from(from).expect("small");
        let taken = staging
            .piece(slot, offset, &blob[from..to])
            .expect("offered");
        assert_eq!(taken.offset as usize, written.len());
        written.extend_from_slice(taken.bytes);
        staging.wrote(slot, taken)
    };
    let have = |have: u32| Reply::Have { slot, have };
    assert_eq!(put(&mut staging, 0, 256), have(256));
    assert_eq!(put(&mut staging, 0, 256), have(256), "the same again");
    assert_eq!(put(&mut staging, 200, 400), have(400), "half of it is new");
    assert_eq!(put(&mut staging, 600, 700), have(400), "too far ahead");
    assert_eq!(staging.commit(slot), Err(StageError::Incomplete));
    assert_eq!(
        staging.offer(slot, length, sum),
        have(400),
        "the same offer goes on"
    );
    assert_eq!(put(&mut staging, 300, 556), have(556));
    assert_eq!(put(&mut staging, 556, 700), have(700));
    assert_eq!(staging.commit(slot), Ok(700));
    assert_eq!(staging.commit(slot + 1), Err(StageError::NotOffered));
    assert_eq!(written, blob);
    assert_eq!(
        staging.offer(slot, length, sum ^ 1),
        have(0),
        "another offer begins anew"
    );
}

#[test]
fn a_wrong_sum_is_never_committed() {
    let mut staging = Staging::new();
    staging.offer(0, 40, 12_345);
    let bytes = [7; 40];
    let taken = staging.piece(0, 0, &bytes).expect("offered");
    staging.wrote(0, taken);
    assert_eq!(staging.commit(0), Err(StageError::Incomplete));
}

#[test]
fn a_sender_goes_where_the_adapter_says() {
    let blob = [1; PIECE_MAX * 2 + 10];
    let mut sending = SendProcedure::new(1, &blob);
    assert_eq!(
        sending.answered(&Reply::Have { slot: 1, have: 256 }),
        SendStep::GoOn
    );
    assert!(
        matches!(sending.request(), Request::Piece { offset: 256, bytes, .. } if bytes.len() == PIECE_MAX)
    );
    assert_eq!(
        sending.answered(&Reply::Have { slot: 1, have: 512 }),
        SendStep::GoOn
    );
    assert!(
        matches!(sending.request(), Request::Piece { offset: 512, bytes, .. } if bytes.len() == 10)
    );
    assert_eq!(
        sending.answered(&Reply::Have { slot: 1, have: 522 }),
        SendStep::GoOn
    );
    assert_eq!(sending.request(), Request::Commit { slot: 1 });
    let forgotten = Reply::Refused {
        why: Refused::NotOffered,
        at: 0,
    };
    assert_eq!(sending.answered(&forgotten), SendStep::GoOn);
    assert!(matches!(sending.request(), Request::Offer { .. }));
    let broken = Reply::Refused {
        why: Refused::Procedure,
        at: 77,
    };
    assert_eq!(
        sending.answered(&broken),
        SendStep::Refused(Refused::Procedure, 77)
    );
    assert_eq!(sending.answered(&Reply::Stored { slot: 1 }), SendStep::Done);
}
