//! Grey to ink: light, levels, and the ways to print a tone with dots.

/// How grey becomes ink.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Tone {
    /// Line art as [`Tone::Line`], all else as [`Tone::Diffused`].
    #[default]
    Auto,
    /// Two tones, parted in the middle between the picture's ink and its paper; its edges are laid
    /// on the borders of dots where that takes less than a dot.
    Line,
    /// A dot is ink where the mean of its area is darker than this grey (0 black, 255 white).
    Threshold(u8),
    /// An ordered pattern of dots: even, and the same for the same grey.
    Ordered,
    /// Error diffusion: the finest detail of a photograph.
    Diffused,
}

impl Tone {
    /// The word for it in a job file; of thresholds the one word `threshold`.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Auto => "auto",
            Self::Line => "line",
            Self::Threshold(_) => "threshold",
            Self::Ordered => "ordered",
            Self::Diffused => "diffused",
        }
    }

    /// The tone of that name; `threshold` is at the middle, 128.
    pub fn named(word: &str) -> Option<Self> {
        let all = [Self::Auto, Self::Line, Self::Threshold(128), Self::Ordered, Self::Diffused];
        all.into_iter().find(|tone| tone.word() == word)
    }
}

/// The light that a grey value of sRGB stands for, 0 to 65,535.
///
/// Source: IEC 61966-2-1, the transfer function of sRGB, whose power of 2.4 is the fifth root of a
/// twelfth power here: sums, products and quotients, so the same bits on any machine.
pub(super) const LIGHT: [u32; 256] = light();

#[allow(
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "values of 0 to 65,535"
)]
const fn light() -> [u32; 256] {
    let mut table = [0; 256];
    let mut tone = 0;
    while tone < 256 {
        let value = tone as f64 / 255.0;
        let linear = if value <= 0.040_45 {
            value / 12.92
        } else {
            let base = (value + 0.055) / 1.055;
            let fourth = base * base * base * base;
            let twelfth = fourth * fourth * fourth;
            // Newton's way to the fifth root, from above.
            let (mut root, mut step) = (1.0, 0);
            while step < 40 {
                let power = root * root * root * root;
                root -= (power * root - twelfth) / (5.0 * power);
                step += 1;
            }
            root
        };
        table[tone] = (linear * 65_535.0 + 0.5) as u32;
        tone += 1;
    }
    table
}

/// The grey of an opaque colour: the tone whose light is nearest to the colour's.
///
/// Source of the weights: IEC 61966-2-1 (those of ITU-R BT.709).
pub(super) fn grey(red: u8, green: u8, blue: u8) -> u8 {
    if red == green && green == blue {
        return red;
    }
    let light = |value: u8| LIGHT[usize::from(value)];
    let sum = (2126 * light(red) + 7152 * light(green) + 722 * light(blue) + 5000) / 10_000;
    let above = LIGHT.partition_point(|&value| value < sum);
    let below = above.saturating_sub(1);
    let nearest = if above > 255 || sum - LIGHT[below] < LIGHT[above] - sum { below } else { above };
    u8::try_from(nearest).unwrap_or(u8::MAX)
}

/// The two tones of a picture, and how far it has only two.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Levels {
    /// The tone of most of the dark part.
    pub(super) ink: u8,
    /// The tone of most of the light part.
    pub(super) paper: u8,
    /// Share of the variance that the two parts explain, in thousandths; 1000 for a picture of two tones.
    pub(super) parted: u64,
}

/// From this on a picture counts as line art. An even ramp has 750; two tones whose smoothed
/// borders make a quarter of the picture have 920.
pub(super) const LINE_ART: u64 = 870;

/// Parts a histogram in two as Otsu does: so that the variance between the parts is greatest.
///
/// A picture of one tone is taken for ink on white paper. Source: N. Otsu, "A threshold selection
/// method from gray-level histograms", IEEE Trans. SMC 9 (1979), equations 12 to 19.
pub(super) fn levels(histogram: &[u64; 256]) -> Levels {
    let tones = || histogram.iter().zip(0_i128..).map(|(&count, tone)| (i128::from(count), tone));
    let all: i128 = tones().map(|(count, _)| count).sum();
    let sum: i128 = tones().map(|(count, tone)| count * tone).sum();
    let squares: i128 = tones().map(|(count, tone)| count * tone * tone).sum();
    // `all` squared times the variance.
    let total = all * squares - sum * sum;
    let (mut count, mut dark) = (0, 0);
    let (mut best, mut last) = (0, 0);
    for (tone, (here, value)) in tones().enumerate().take(255) {
        count += here;
        dark += here * value;
        if count == 0 || count == all {
            continue;
        }
        // `all` squared times the variance between the parts.
        let apart = dark * all - sum * count;
        let between = apart * apart / (count * (all - count));
        if between > best {
            (best, last) = (between, tone);
        }
    }
    if total == 0 {
        let only = histogram.iter().position(|&count| count > 0).unwrap_or(0);
        return Levels { ink: u8::try_from(only).unwrap_or(0), paper: u8::MAX, parted: 1000 };
    }
    let parted = u64::try_from(1000 * best / total).unwrap_or(1000);
    Levels { ink: median(histogram, 0, last), paper: median(histogram, last + 1, 255), parted }
}

/// The tone in the middle of a part of a histogram.
fn median(histogram: &[u64; 256], from: usize, to: usize) -> u8 {
    let all: u64 = histogram[from..=to].iter().sum();
    let mut count = 0;
    let middle = (from..=to).find(|&tone| {
        count += histogram[tone];
        2 * count >= all
    });
    u8::try_from(middle.unwrap_or(from)).unwrap_or(u8::MAX)
}

impl Levels {
    /// How much of a pixel of each tone is ink, 0 to 255.
    pub(super) fn coverage(self) -> [u8; 256] {
        let (ink, paper) = (i32::from(self.ink), i32::from(self.paper));
        let range = (paper - ink).max(1);
        let mut map = [0; 256];
        for (value, tone) in map.iter_mut().zip(0..) {
            *value = u8::try_from(((510 * (paper - tone) + range) / (2 * range)).clamp(0, 255)).unwrap_or(0);
        }
        map
    }
}

/// Whether dots are ink, given their light (0 to 65,535) row by row from the top.
///
/// Source of the order: B. E. Bayer, "An optimum method for two-level rendition of continuous-tone
/// pictures", IEEE Int. Conf. on Communications 1 (1973), the matrix of order 8 by its recursion.
pub(super) fn ordered(light: &[u32], width: usize) -> Vec<bool> {
    let rank = |x: usize, y: usize| {
        // The bits of x ^ y and y, interleaved, lowest first.
        (0..3).fold(0_u32, |rank, bit| {
            let (x, y) = (x >> bit & 1, y >> bit & 1);
            rank << 2 | u32::from((x ^ y) == 1) << 1 | u32::from(y == 1)
        })
    };
    let ink = |(at, &light): (usize, &u32)| {
        // Paper where the light exceeds the middle of the rank's step of 1024.
        light <= rank(at % width % 8, at / width % 8) * 1024 + 511
    };
    light.iter().enumerate().map(ink).collect()
}

/// Whether dots are ink, given their light (0 to 65,535) row by row from the top.
///
/// Rows run to and fro. What leaves the picture at its sides goes down instead, so that the mean
/// is kept. Source of the weights: R. W. Floyd and L. Steinberg, "An adaptive algorithm for spatial
/// greyscale", Proc. SID 17/2 (1976); to and fro: R. Ulichney, "Digital Halftoning" (1987), ch. 8.
pub(super) fn diffused(light: &[u32], width: usize) -> Vec<bool> {
    let mut ink = vec![false; light.len()];
    let mut errors = vec![0_i64; width];
    let mut next = vec![0_i64; width];
    for (row, (values, inked)) in light.chunks(width).zip(ink.chunks_mut(width)).enumerate() {
        let mut ahead = 0;
        for step in 0..width {
            let (at, back, on) = if row % 2 == 0 {
                (step, step.checked_sub(1), Some(step + 1).filter(|&x| x < width))
            } else {
                let at = width - 1 - step;
                (at, Some(at + 1).filter(|&x| x < width), at.checked_sub(1))
            };
            let wanted = i64::from(values[at]) + errors[at] + ahead;
            inked[at] = wanted < 32_768;
            let error = wanted - if inked[at] { 0 } else { 65_535 };
            let (side, slant, far) = (error * 7 / 16, error * 3 / 16, error / 16);
            let below = error - side - slant - far;
            next[at] += below;
            next[back.unwrap_or(at)] += slant;
            if let Some(on) = on {
                ahead = side;
                next[on] += far;
            } else {
                next[at] += side + far;
            }
        }
        std::mem::swap(&mut errors, &mut next);
        next.fill(0);
    }
    ink
}
