//! Lengths and resolutions: micrometres, dots, dots per inch.
//!
//! Every length is an integer with its unit in the type. Conversions are integer
//! arithmetic, so the same input gives the same dots on any machine.

use std::fmt;
use std::iter::Sum;
use std::ops::{Add, AddAssign, Mul, Neg, Sub, SubAssign};

/// Micrometres in one inch, exact by definition (1 in = 25.4 mm).
pub const MICROMETRES_PER_INCH: i64 = 25_400;

/// Micrometres in one foot, exact by definition (1 ft = 0.3048 m).
pub const MICROMETRES_PER_FOOT: i64 = 304_800;

macro_rules! length_type {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub struct $name(pub i64);

        impl $name {
            /// The length zero.
            pub const ZERO: Self = Self(0);
        }
        impl Add for $name {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self(self.0 + other.0)
            }
        }
        impl Sub for $name {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self(self.0 - other.0)
            }
        }
        impl Mul<i64> for $name {
            type Output = Self;
            fn mul(self, times: i64) -> Self {
                Self(self.0 * times)
            }
        }
        impl Neg for $name {
            type Output = Self;
            fn neg(self) -> Self {
                Self(-self.0)
            }
        }
        impl AddAssign for $name {
            fn add_assign(&mut self, other: Self) {
                self.0 += other.0;
            }
        }
        impl SubAssign for $name {
            fn sub_assign(&mut self, other: Self) {
                self.0 -= other.0;
            }
        }
        impl Sum for $name {
            fn sum<I: Iterator<Item = Self>>(lengths: I) -> Self {
                lengths.fold(Self::ZERO, Add::add)
            }
        }
    };
}

length_type! {
    /// A physical length in whole micrometres; may be negative as an offset.
    Micrometres
}
length_type! {
    /// A length in whole device dots, across or along the tape; may be negative as an offset.
    Dots
}

impl Micrometres {
    /// From millimetres, rounded to the nearest micrometre (halves away from zero).
    ///
    /// The caller guards against values that are not finite; those become zero.
    #[allow(clippy::cast_possible_truncation, reason = "`as` saturates; lengths are far below 2^53 µm")]
    pub fn from_mm(mm: f64) -> Self {
        let scaled = mm * 1000.0;
        Self(if scaled < 0.0 { scaled - 0.5 } else { scaled + 0.5 } as i64)
    }

    /// In millimetres.
    #[allow(clippy::cast_precision_loss, reason = "lengths are far below 2^53 µm")]
    pub fn mm(self) -> f64 {
        self.0 as f64 / 1000.0
    }

    /// Times a factor, rounded to the nearest micrometre.
    pub fn scaled(self, factor: f64) -> Self {
        Self::from_mm(self.mm() * factor)
    }
}

/// Prints millimetres without trailing zeros: `6.15 mm`.
impl fmt::Display for Micrometres {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let sign = if self.0 < 0 { "-" } else { "" };
        let (whole, part) = (self.0.abs() / 1000, self.0.abs() % 1000);
        let text = format!("{sign}{whole}.{part:03}");
        write!(f, "{} mm", text.trim_end_matches('0').trim_end_matches('.'))
    }
}

impl fmt::Display for Dots {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} dots", self.0)
    }
}

/// A resolution in thousandths of a dot per inch, so that 203.2 dpi is exact.
///
/// Range 1 to 10,000 dpi; [`Dpi::from_milli`] refuses the rest.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Dpi(u32);

impl Dpi {
    /// From thousandths of a dot per inch; `None` outside 1 to 10,000 dpi.
    pub const fn from_milli(milli: u32) -> Option<Self> {
        if milli >= 1_000 && milli <= 10_000_000 { Some(Self(milli)) } else { None }
    }

    /// In thousandths of a dot per inch.
    pub const fn milli(self) -> u32 {
        self.0
    }

    /// In dots per millimetre, for scaling outlines.
    pub fn per_mm(self) -> f64 {
        f64::from(self.0) / 25_400.0
    }

    /// Most dots that fit into a length (rounds towards minus infinity).
    pub fn dots_within(self, length: Micrometres) -> Dots {
        Dots((length.0 * i64::from(self.0)).div_euclid(MICROMETRES_PER_INCH * 1000))
    }

    /// Fewest dots that cover a length (rounds towards plus infinity).
    pub fn dots_covering(self, length: Micrometres) -> Dots {
        -self.dots_within(-length)
    }

    /// Dots nearest to a length (halves up).
    pub fn dots_nearest(self, length: Micrometres) -> Dots {
        let unit = MICROMETRES_PER_INCH * 1000;
        Dots((2 * length.0 * i64::from(self.0) + unit).div_euclid(2 * unit))
    }

    /// The length of so many dots, rounded to the nearest micrometre (halves up).
    pub fn length(self, dots: Dots) -> Micrometres {
        let milli = i64::from(self.0);
        Micrometres((2 * dots.0 * MICROMETRES_PER_INCH * 1000 + milli).div_euclid(2 * milli))
    }
}

impl fmt::Display for Dpi {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (whole, part) = (self.0 / 1000, self.0 % 1000);
        if part == 0 {
            write!(f, "{whole} dpi")
        } else {
            write!(f, "{whole}.{} dpi", format!("{part:03}").trim_end_matches('0'))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rounding_directions_bracket_the_length() {
        let dpi = Dpi::from_milli(180_000).unwrap();
        let length = Micrometres::from_mm(12.0); // 85.04 dots
        assert_eq!(dpi.dots_within(length), Dots(85));
        assert_eq!(dpi.dots_covering(length), Dots(86));
        assert_eq!(dpi.dots_nearest(length), Dots(85));
        assert_eq!(dpi.dots_within(-length), Dots(-86));
        assert_eq!(dpi.length(Dots(180)), Micrometres(25_400));
    }

    #[test]
    fn eight_dots_a_millimetre_is_exact() {
        // 203.2 dpi is 8 dots/mm: 25.4 x 8.
        let dpi = Dpi::from_milli(203_200).unwrap();
        for mm in 0..1000 {
            assert_eq!(dpi.dots_within(Micrometres(mm * 1000)), Dots(mm * 8));
            assert_eq!(dpi.dots_covering(Micrometres(mm * 1000)), Dots(mm * 8));
            assert_eq!(dpi.length(Dots(mm * 8)), Micrometres(mm * 1000));
        }
    }

    #[test]
    fn lengths_print_without_trailing_zeros() {
        assert_eq!(Micrometres(6150).to_string(), "6.15 mm");
        assert_eq!(Micrometres(-500).to_string(), "-0.5 mm");
        assert_eq!(Micrometres(25_000).to_string(), "25 mm");
        assert_eq!(Dpi::from_milli(203_200).unwrap().to_string(), "203.2 dpi");
    }
}
