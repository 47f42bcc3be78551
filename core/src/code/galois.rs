//! The fields of 256 elements and the Reed–Solomon check words of all matrix codes.

/// The longest check of one block: 68 words, Data Matrix 48 × 48 (ISO/IEC 16022, table 7).
const LONGEST: usize = 68;

/// A field of 256 elements with its generator polynomials.
pub(super) struct Field {
    /// Powers of the primitive element, twice around so that a sum of two logarithms needs no remainder.
    powers: [u8; 510],
    logarithms: [u8; 256],
    /// The power at which the roots of the generators begin.
    #[cfg(test)]
    first: usize,
    /// Logarithms of the generators' coefficients by degree, highest below the leading 1 first.
    generators: [[u8; LONGEST]; LONGEST + 1],
}

/// ISO/IEC 18004, 7.5.2: x^8 + x^4 + x^3 + x^2 + 1, roots from the power 0.
pub(super) static QR: Field = Field::new(0x11D, 0);
/// ISO/IEC 16022, 5.7.1: x^8 + x^5 + x^3 + x^2 + 1, roots from the power 1.
pub(super) static DATA_MATRIX: Field = Field::new(0x12D, 1);

impl Field {
    #[allow(clippy::cast_possible_truncation, reason = "field elements are bytes")]
    const fn new(polynomial: usize, first: usize) -> Self {
        let (mut powers, mut logarithms) = ([0; 510], [0; 256]);
        let (mut i, mut element) = (0, 1);
        while i < 255 {
            powers[i] = element as u8;
            powers[i + 255] = element as u8;
            logarithms[element] = i as u8;
            element <<= 1;
            if element > 255 {
                element ^= polynomial;
            }
            i += 1;
        }
        let mut field = Self {
            powers,
            logarithms,
            #[cfg(test)]
            first,
            generators: [[0; LONGEST]; LONGEST + 1],
        };
        // The product of (x - root), one root more a step; no coefficient of these products is zero
        // up to the longest degree, which `no_generator_has_a_gap` holds.
        let mut product = [0_u8; LONGEST + 1];
        product[0] = 1;
        let mut degree = 1;
        while degree <= LONGEST {
            let root = (degree - 1 + first) % 255;
            let mut k = degree;
            while k > 0 {
                let below = product[k - 1];
                if below != 0 {
                    product[k] ^= powers[logarithms[below as usize] as usize + root];
                }
                k -= 1;
            }
            let mut k = 0;
            while k < degree {
                field.generators[degree][k] = logarithms[product[k + 1] as usize];
                k += 1;
            }
            degree += 1;
        }
        field
    }

    /// The check words of one block, appended to `out`.
    ///
    /// # Panics
    /// If more than 68 are asked for.
    pub(super) fn check(&self, data: impl Iterator<Item = u8>, count: usize, out: &mut Vec<u8>) {
        let generator = &self.generators[count][..count];
        let mut rest = [0_u8; LONGEST + 1];
        for byte in data {
            let factor = byte ^ rest[0];
            rest.copy_within(1..=count, 0);
            if factor != 0 {
                let factor = usize::from(self.logarithms[usize::from(factor)]);
                for (word, &coefficient) in rest.iter_mut().zip(generator) {
                    *word ^= self.powers[factor + usize::from(coefficient)];
                }
            }
        }
        out.extend_from_slice(&rest[..count]);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hex(words: &str) -> Vec<u8> {
        words.split(' ').map(|word| u8::from_str_radix(word, 16).unwrap()).collect()
    }

    #[track_caller]
    fn check(field: &Field, data: &[u8], wanted: &[u8]) {
        let mut words = Vec::new();
        field.check(data.iter().copied(), wanted.len(), &mut words);
        assert_eq!(words, wanted);
    }

    #[test]
    fn the_standards_examples() {
        // ISO/IEC 18004, annex I.2 (data from memory; the check words follow from them).
        check(&QR, &hex("10 20 0C 56 61 80 EC 11 EC 11 EC 11 EC 11 EC 11"), &hex("A5 24 D4 C1 ED 36 C7 87 2C 55"));
        // ISO/IEC 18004, annex I.3, M2-L.
        check(&QR, &hex("40 18 AC C3 00"), &hex("86 0D 22 AE 30"));
        // ISO/IEC 23941, worked example R11x27-H.
        check(&QR, &hex("2E 06 2B 2C 00"), &hex("11 84 BF BF AB E4 50 2E AF 24"));
        // ISO/IEC 16022, annex O: "123456".
        check(&DATA_MATRIX, &[142, 164, 186], &[114, 25, 5, 88, 102]);
    }

    #[test]
    fn every_check_divides_without_rest() {
        for field in [&QR, &DATA_MATRIX] {
            for count in [2, 7, 30, 68] {
                let data: Vec<u8> = (0..40_u8).map(|n| n.wrapping_mul(89).wrapping_add(7)).collect();
                let mut block = data.clone();
                field.check(data.iter().copied(), count, &mut block);
                for root in field.first..field.first + count {
                    let value = block.iter().fold(0_u8, |sum, &word| {
                        let times = match sum {
                            0 => 0,
                            _ => field.powers[usize::from(field.logarithms[usize::from(sum)]) + root],
                        };
                        times ^ word
                    });
                    assert_eq!(value, 0, "{count} words, root {root}");
                }
            }
        }
    }

    /// A coefficient of zero has no logarithm; the longest block's generator has none either way.
    #[test]
    fn no_generator_has_a_gap() {
        for field in [&QR, &DATA_MATRIX] {
            for degree in 1..=LONGEST {
                let mut product = vec![1_u8];
                for root in field.first..field.first + degree {
                    product.push(0);
                    for k in (1..product.len()).rev() {
                        if product[k - 1] != 0 {
                            let log = usize::from(field.logarithms[usize::from(product[k - 1])]);
                            product[k] ^= field.powers[log + root];
                        }
                    }
                }
                assert!(product.iter().all(|&coefficient| coefficient != 0), "degree {degree}");
            }
        }
    }
}
