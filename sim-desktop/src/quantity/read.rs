//! The reader: numbers, unit spellings, ranges, limits, tolerances.
//!
//! One left-to-right walk over the text; every fault knows its bytes. A unit is the run of characters up to the next digit,
//! so that `24 ft-lb - 28 ft-lb` and `24-28 ft-lb` are both read.

use std::num::NonZeroU32;

use super::number::{DECIMALS_MAX, DIGITS_MAX};
use super::{Amount, Fault, Number, PercentUnit, Quantity, QuantityError, Target, Tolerance, Unit};

/// Letters of the longest spelling, and some more.
const LETTERS_MAX: usize = 32;

pub(super) fn quantity<U: Unit>(text: &str) -> Result<Quantity<U>, QuantityError> {
    let mut reader = Reader::<U>::new(text);
    let start = reader.start()?;
    let number = reader.number(U::SIGNED)?;
    let run = reader.run();
    reader.end_of_value(run)?;
    reader.made(start, number, reader.unit(run)?)
}

pub(super) fn target<U: Unit>(text: &str) -> Result<Target<U>, QuantityError> {
    let mut reader = Reader::<U>::new(text);
    reader.start()?;
    let prefix = reader.side_before();
    let start = reader.at;
    let number = reader.number(U::SIGNED)?;
    let run = reader.run();
    if reader.is_done() {
        let (run, suffix) = if prefix.is_none() {
            reader.side_after(run)
        } else {
            (run, None)
        };
        let value = reader.made(start, number, reader.unit(run)?)?;
        return Ok(match prefix.or(suffix) {
            None => Target::Exact(value),
            Some(Side::AtMost) => Target::AtMost(value),
            Some(Side::AtLeast) => Target::AtLeast(value),
        });
    }
    if prefix.is_some() {
        return Err(reader.fault(reader.at, text.len(), Fault::LeftOver));
    }
    let Some((first_run, negative)) = reader.separator(run) else {
        reader.end_of_value(run)?;
        return Err(reader.fault(reader.at, text.len(), Fault::LeftOver));
    };
    let second_start = reader.at;
    let mut second = reader.number(false)?;
    if negative {
        second = second.negated();
    }
    let second_run = reader.run();
    if !reader.is_done() {
        reader.end_of_value(second_run)?;
    }
    let second_unit = reader.unit(second_run)?;
    let first_unit = if letters(reader.slice(first_run)).is_some_and(|found| found.is_empty()) {
        second_unit
    } else {
        reader.unit(first_run)?
    };
    let low = reader.made(start, number, first_unit)?;
    let high = reader.made(second_start, second, second_unit)?;
    if low.amount() > high.amount() {
        return Err(reader.fault(start, text.len(), Fault::RangeBackwards));
    }
    Ok(Target::Range { low, high })
}

pub(super) fn tolerance<U: Unit>(text: &str) -> Result<Tolerance<U>, QuantityError> {
    let mut reader = Reader::<U>::new(text);
    reader.start()?;
    let Some(sign) = reader.sign() else {
        return Err(reader.fault(reader.at, text.len(), Fault::SignMissing));
    };
    let start = reader.at;
    let number = reader.number(false)?;
    let run = reader.run();
    if sign == Sign::Both {
        reader.end_of_value(run)?;
        let both = reader.amount(start, number, run)?;
        return Ok(Tolerance {
            plus: both,
            minus: both,
        });
    }
    if reader.is_done() {
        // One side alone: the other is nothing, as in `+10 %`.
        let given = reader.amount(start, number, run)?;
        let none = given.none();
        return Ok(if sign == Sign::Plus {
            Tolerance {
                plus: given,
                minus: none,
            }
        } else {
            Tolerance {
                plus: none,
                minus: given,
            }
        });
    }
    let Some((first_run, second_sign)) = reader.trailing_sign(run) else {
        reader.end_of_value(run)?;
        return Err(reader.fault(reader.at, text.len(), Fault::LeftOver));
    };
    if second_sign == sign {
        return Err(reader.fault(first_run.1, reader.at, Fault::SideTwice));
    }
    let second_start = reader.at;
    let second_number = reader.number(false)?;
    let second_run = reader.run();
    reader.end_of_value(second_run)?;
    let second = reader.amount(second_start, second_number, second_run)?;
    let shared = letters(reader.slice(first_run)).is_some_and(|found| found.is_empty());
    let first = reader.amount(start, number, if shared { second_run } else { first_run })?;
    Ok(if sign == Sign::Plus {
        Tolerance {
            plus: first,
            minus: second,
        }
    } else {
        Tolerance {
            plus: second,
            minus: first,
        }
    })
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Sign {
    Plus,
    Minus,
    Both,
}

#[derive(Clone, Copy)]
enum Side {
    AtMost,
    AtLeast,
}

/// First byte of a run and the byte after it.
type Run = (usize, usize);

struct Reader<'t, U> {
    text: &'t str,
    at: usize,
    kind: std::marker::PhantomData<U>,
}

impl<'t, U: Unit> Reader<'t, U> {
    const fn new(text: &'t str) -> Self {
        Self {
            text,
            at: 0,
            kind: std::marker::PhantomData,
        }
    }

    fn rest(&self) -> &'t str {
        self.text.get(self.at..).unwrap_or("")
    }

    fn slice(&self, run: Run) -> &'t str {
        self.text.get(run.0..run.1).unwrap_or("")
    }

    fn peek(&self) -> Option<char> {
        self.rest().chars().next()
    }

    fn peek_after(&self, skipped: usize) -> Option<char> {
        self.rest().chars().nth(skipped)
    }

    fn bump(&mut self) {
        if let Some(character) = self.peek() {
            self.at = self.at.saturating_add(character.len_utf8());
        }
    }

    fn eat(&mut self, words: &str) -> bool {
        if self.rest().starts_with(words) {
            self.at = self.at.saturating_add(words.len());
            true
        } else {
            false
        }
    }

    fn spaces(&mut self) {
        while self.peek().is_some_and(char::is_whitespace) {
            self.bump();
        }
    }

    fn is_done(&self) -> bool {
        self.rest().trim().is_empty()
    }

    fn fault(&self, from: usize, to: usize, fault: Fault) -> QuantityError {
        QuantityError {
            from,
            to: to.max(from),
            fault,
            allowed: U::ALLOWED,
        }
    }

    fn start(&mut self) -> Result<usize, QuantityError> {
        self.spaces();
        if self.is_done() {
            Err(self.fault(0, self.text.len(), Fault::Empty))
        } else {
            Ok(self.at)
        }
    }

    /// A run of ASCII digits: its value, held at the end of a `u64`, and their number.
    fn digits(&mut self) -> (u64, u32) {
        let mut value = 0_u64;
        let mut count = 0_u32;
        while let Some(digit) = self.peek().and_then(|character| character.to_digit(10)) {
            value = value.saturating_mul(10).saturating_add(u64::from(digit));
            count = count.saturating_add(1);
            self.bump();
        }
        (value, count)
    }

    fn number(&mut self, signed: bool) -> Result<Number, QuantityError> {
        self.spaces();
        let start = self.at;
        let negative = self.eat("-") || self.eat("−");
        if negative {
            if !signed {
                return Err(self.fault(start, self.at, Fault::Negative));
            }
            self.spaces();
        }
        let number = self.size(start)?;
        Ok(if negative { number.negated() } else { number })
    }

    fn size(&mut self, start: usize) -> Result<Number, QuantityError> {
        let first = self.at;
        let (whole, count) = self.digits();
        if count > 0
            && let Some(number) = self.stacked_fraction(start, whole, first)?
        {
            return Ok(number);
        }
        if let Some((over, under)) = self.peek().and_then(vulgar) {
            self.bump();
            return Number::fraction(whole, over, under)
                .ok_or_else(|| self.fault(start, self.at, Fault::TooManyDigits));
        }
        self.groups(start)?;
        let leads_with_zero = self.text.get(first..).unwrap_or("").starts_with('0');
        let (mut value, mut decimals) = (whole, 0);
        if let Some(point) = self.peek().filter(|&found| found == '.' || found == ',')
            && self.peek_after(1).is_some_and(|next| next.is_ascii_digit())
        {
            self.bump();
            let (after, after_count) = self.digits();
            if point == ',' && after_count == 3 && (1..=3).contains(&count) && !leads_with_zero {
                return Err(self.fault(start, self.at, Fault::DigitGroups));
            }
            self.groups(start)?;
            if after_count > u32::from(DECIMALS_MAX) {
                return Err(self.fault(start, self.at, Fault::TooManyDigits));
            }
            value = 10_u64
                .checked_pow(after_count)
                .and_then(|scale| whole.checked_mul(scale))
                .and_then(|scaled| scaled.checked_add(after))
                .ok_or_else(|| self.fault(start, self.at, Fault::TooManyDigits))?;
            decimals = u8::try_from(after_count).unwrap_or(u8::MAX);
        } else if count == 0 {
            let to = self
                .peek()
                .map_or(self.at, |next| self.at.saturating_add(next.len_utf8()));
            return Err(self.fault(self.at, to, Fault::NumberMissing));
        }
        Number::decimal(value, decimals)
            .ok_or_else(|| self.fault(start, self.at, Fault::TooManyDigits))
    }

    /// Digits that go on after a separator: `1,234,567`, `1.234,5`, `1 234`, `1'234`.
    fn groups(&self, start: usize) -> Result<(), QuantityError> {
        let parts = matches!(
            self.peek(),
            Some('\'' | '’' | ' ' | '\u{a0}' | '\u{202f}' | '.' | ',')
        );
        // A first point or comma is the decimal one unless another follows the digits after it; see the caller.
        let again = self
            .text
            .get(start..self.at)
            .unwrap_or("")
            .contains(['.', ',']);
        let first_point = matches!(self.peek(), Some('.' | ',')) && !again;
        if !parts || first_point {
            return Ok(());
        }
        let skipped = self.rest().char_indices().nth(1).map_or(0, |(at, _)| at);
        let after = self.rest().get(skipped..).unwrap_or("");
        let count = after.bytes().take_while(u8::is_ascii_digit).count();
        let spaced = self.peek().is_some_and(char::is_whitespace);
        let is_fraction = after
            .get(count..)
            .unwrap_or("")
            .trim_start()
            .starts_with('/');
        if count > 0 && (!spaced || (count == 3 && !is_fraction)) {
            let to = self.at.saturating_add(skipped).saturating_add(count);
            return Err(self.fault(start, to, Fault::DigitGroups));
        }
        Ok(())
    }

    /// `1/4`, or `1 1/4` and `1-1/4` with the whole already read; leaves the place untouched where there is none.
    fn stacked_fraction(
        &mut self,
        start: usize,
        whole: u64,
        first: usize,
    ) -> Result<Option<Number>, QuantityError> {
        let back = self.at;
        if let Some(under) = self.under(first)? {
            return Number::fraction(0, whole, under)
                .map(Some)
                .ok_or_else(|| self.fault(start, self.at, Fault::TooManyDigits));
        }
        self.at = back;
        if self.peek() == Some('-') {
            self.bump();
        } else {
            self.spaces();
        }
        if self.at > back {
            let second = self.at;
            let (over, count) = self.digits();
            if count > 0
                && let Some(under) = self.under(second)?
                && over < u64::from(under.get())
            {
                return Number::fraction(whole, over, under)
                    .map(Some)
                    .ok_or_else(|| self.fault(start, self.at, Fault::TooManyDigits));
            }
            if count == 0
                && let Some((over, under)) = self.peek().and_then(vulgar)
            {
                self.bump();
                return Number::fraction(whole, over, under)
                    .map(Some)
                    .ok_or_else(|| self.fault(start, self.at, Fault::TooManyDigits));
            }
        }
        self.at = back;
        Ok(None)
    }

    /// The lower part of a fraction, after a stroke that is followed by a digit.
    fn under(&mut self, first: usize) -> Result<Option<NonZeroU32>, QuantityError> {
        let stroke = self.peek() == Some('/') || self.peek() == Some('⁄');
        if !stroke || !self.peek_after(1).is_some_and(|next| next.is_ascii_digit()) {
            return Ok(None);
        }
        self.bump();
        let (under, _) = self.digits();
        if under == 0 {
            return Err(self.fault(first, self.at, Fault::ZeroDenominator));
        }
        match u32::try_from(under)
            .ok()
            .filter(|&under| under <= 1_000)
            .and_then(NonZeroU32::new)
        {
            Some(under) => Ok(Some(under)),
            None => Err(self.fault(first, self.at, Fault::TooManyDigits)),
        }
    }

    /// Everything up to the next digit or the end.
    fn run(&mut self) -> Run {
        let from = self.at;
        while self
            .peek()
            .is_some_and(|next| !next.is_ascii_digit() && vulgar(next).is_none())
        {
            self.bump();
        }
        // A point right before a digit belongs to the number: `+.5`.
        let run = self.slice((from, self.at));
        let own_point = self.peek().is_some() && run.ends_with('.') && !run.ends_with("..");
        if own_point && run.len() > 1 {
            self.at = self.at.saturating_sub(1);
        }
        (from, self.at)
    }

    /// Refuses whatever stands after a value that should be the last.
    fn end_of_value(&self, run: Run) -> Result<(), QuantityError> {
        let slice = self.slice(run);
        if slice.contains(['±', '+']) {
            return Err(self.fault(run.0, self.text.len(), Fault::ToleranceInside));
        }
        if self.is_done() {
            Ok(())
        } else {
            Err(self.fault(self.at, self.text.len(), Fault::LeftOver))
        }
    }

    fn trimmed(&self, run: Run) -> Run {
        let slice = self.slice(run);
        let before = slice.len().saturating_sub(slice.trim_start().len());
        let after = slice.len().saturating_sub(slice.trim_end().len());
        if slice.trim().is_empty() {
            return (run.1, run.1);
        }
        (run.0.saturating_add(before), run.1.saturating_sub(after))
    }

    fn unit(&self, run: Run) -> Result<U, QuantityError> {
        let run = self.trimmed(run);
        let typed = self.slice(run);
        if typed.contains('±') || typed.contains('+') {
            return Err(self.fault(run.0, run.1, Fault::ToleranceInside));
        }
        let found = match letters(typed) {
            Some(_) if typed.contains('/') => Err(U::STROKE),
            Some(found) => U::from_letters(found.as_str(), typed),
            None => Err(Fault::UnitUnknown),
        };
        found.map_err(|fault| self.fault(run.0, run.1, fault))
    }

    fn made(&self, start: usize, number: Number, unit: U) -> Result<Quantity<U>, QuantityError> {
        Quantity::new(number, unit)
            .ok_or_else(|| self.fault(start, self.text.len(), Fault::OutOfRange))
    }

    fn amount(&self, start: usize, number: Number, run: Run) -> Result<Amount<U>, QuantityError> {
        let typed = self.slice(self.trimmed(run));
        if typed == "%" || typed.eq_ignore_ascii_case("percent") {
            return Quantity::new(number, PercentUnit)
                .map(Amount::Percent)
                .ok_or_else(|| self.fault(start, run.1, Fault::OutOfRange));
        }
        self.made(start, number, self.unit(run)?).map(Amount::Value)
    }

    /// `max`, `min` and their like before the number.
    fn side_before(&mut self) -> Option<Side> {
        let rest = self.rest();
        let starts = |next: char| {
            next.is_ascii_digit() || vulgar(next).is_some() || next == '-' || next == '−'
        };
        let before = rest.get(..rest.find(starts)?).unwrap_or("");
        // `max .5` is a half; `max.5` is not guessed.
        let word = before.strip_suffix(['.', ',']).unwrap_or(before);
        if word.len() < before.len() && !word.ends_with(char::is_whitespace) {
            return None;
        }
        let side = side(word)?;
        self.at = self.at.saturating_add(word.len());
        Some(side)
    }

    /// The same after the unit: `10 N·m max`. A unit must be left over, so that `5 min` stays five minutes.
    fn side_after(&self, run: Run) -> (Run, Option<Side>) {
        let trimmed = self.trimmed(run);
        let slice = self.slice(trimmed);
        if let Some((unit, word)) = slice.rsplit_once([' ', '\u{a0}'])
            && let Some(side) = side(word)
            && !unit.trim().is_empty()
        {
            return (
                (trimmed.0, trimmed.0.saturating_add(unit.len())),
                Some(side),
            );
        }
        (run, None)
    }

    /// What parts the two ends of a range, taken off the first unit; and whether the second end is negative.
    fn separator(&self, run: Run) -> Option<(Run, bool)> {
        let slice = self.slice(run).trim_end();
        let (unit, negative) = match slice.strip_suffix(['-', '−']).and_then(without_separator) {
            Some(unit) if U::SIGNED => (unit, true),
            Some(_) => return None,
            None => (without_separator(slice)?, false),
        };
        Some(((run.0, run.0.saturating_add(unit.len())), negative))
    }

    fn sign(&mut self) -> Option<Sign> {
        let sign = if ["±", "+/-", "+-", "+/−", "+−"]
            .into_iter()
            .any(|both| self.eat(both))
        {
            Sign::Both
        } else if self.eat("+") {
            Sign::Plus
        } else if self.eat("-") || self.eat("−") {
            Sign::Minus
        } else {
            return None;
        };
        Some(sign)
    }

    /// The sign that ends a run, taken off the unit before it, with a stroke or comma between.
    fn trailing_sign(&self, run: Run) -> Option<(Run, Sign)> {
        let slice = self.slice(run).trim_end();
        let (unit, sign) = match slice.strip_suffix('+') {
            Some(unit) => (unit, Sign::Plus),
            None => (slice.strip_suffix(['-', '−'])?, Sign::Minus),
        };
        let unit = unit.trim_end().trim_end_matches(['/', ',']);
        Some(((run.0, run.0.saturating_add(unit.len())), sign))
    }
}

/// The text before the separator of a range.
fn without_separator(slice: &str) -> Option<&str> {
    let slice = slice.trim_end();
    ["...", "..", "…", "–", "—", "-", "−", " to"]
        .into_iter()
        .find_map(|separator| slice.strip_suffix(separator))
}

fn side(word: &str) -> Option<Side> {
    match word.trim() {
        "≤" | "<=" => return Some(Side::AtMost),
        "≥" | ">=" => return Some(Side::AtLeast),
        _ => {}
    }
    match letters(word)?.as_str() {
        "max" | "maximum" | "atmost" | "upto" => Some(Side::AtMost),
        "min" | "minimum" | "atleast" => Some(Side::AtLeast),
        _ => None,
    }
}

fn vulgar(character: char) -> Option<(u64, NonZeroU32)> {
    let (over, under) = match character {
        '½' => (1, 2),
        '¼' => (1, 4),
        '¾' => (3, 4),
        '⅛' => (1, 8),
        '⅜' => (3, 8),
        '⅝' => (5, 8),
        '⅞' => (7, 8),
        '⅓' => (1, 3),
        '⅔' => (2, 3),
        _ => return None,
    };
    NonZeroU32::new(under).map(|under| (over, under))
}

struct Letters {
    bytes: [u8; LETTERS_MAX],
    length: usize,
}

impl Letters {
    fn push(&mut self, text: &str) -> Option<()> {
        let end = self.length.checked_add(text.len())?;
        self.bytes
            .get_mut(self.length..end)?
            .copy_from_slice(text.as_bytes());
        self.length = end;
        Some(())
    }

    fn is_empty(&self) -> bool {
        self.length == 0
    }

    fn as_str(&self) -> &str {
        let bytes = self.bytes.get(..self.length).unwrap_or(&[]);
        std::str::from_utf8(bytes).unwrap_or("")
    }
}

/// A spelling in lower case with spaces, points, hyphens and multiplication signs taken out; none if anything else is in it.
fn letters(typed: &str) -> Option<Letters> {
    let mut found = Letters {
        bytes: [0; LETTERS_MAX],
        length: 0,
    };
    for character in typed.chars() {
        match character {
            'µ' | 'μ' => found.push("u")?,
            '°' | 'º' | '˚' => found.push("deg")?,
            '"' | '″' | '”' => found.push("in")?,
            '%' => found.push("%")?,
            '.' | '·' | '⋅' | '•' | '∙' | '×' | '*' | '/' | '-' | '‐' | '‑' | '‒' | '–' | '−' =>
                {}
            _ if character.is_whitespace() => {}
            _ if character.is_ascii_alphabetic() => {
                let mut own = [0_u8; 4];
                found.push(character.to_ascii_lowercase().encode_utf8(&mut own))?;
            }
            _ => return None,
        }
    }
    Some(found)
}

const _: () = assert!(DIGITS_MAX <= 18, "ten to this power fits a u64");
