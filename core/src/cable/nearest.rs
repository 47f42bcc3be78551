//! The nearest known names to one that was not found.

/// Steps (insert, delete, replace, swap two neighbours) that turn one word into the other:
/// optimal string alignment distance.
fn steps(from: &str, to: &str) -> usize {
    let (from, to): (Vec<char>, Vec<char>) = (from.chars().collect(), to.chars().collect());
    let mut before: Vec<usize> = Vec::new();
    let mut last: Vec<usize> = (0..=to.len()).collect();
    for i in 1..=from.len() {
        let mut row = vec![i];
        for j in 1..=to.len() {
            let replaced = last[j - 1] + usize::from(from[i - 1] != to[j - 1]);
            let mut best = replaced.min(last[j] + 1).min(row[j - 1] + 1);
            if i > 1 && j > 1 && from[i - 1] == to[j - 2] && from[i - 2] == to[j - 1] {
                best = best.min(before[j - 2] + 1);
            }
            row.push(best);
        }
        before = std::mem::replace(&mut last, row);
    }
    last[to.len()]
}

/// How far two names are apart, if they are near: at most a third of the length is changed, or one
/// begins with the other.
fn near(name: &str, other: &str) -> Option<usize> {
    let (length, other_length) = (name.chars().count(), other.chars().count());
    let (shorter, longer) = (length.min(other_length), length.max(other_length));
    if shorter < 2 || longer > 64 {
        return None;
    }
    let steps = steps(name, other);
    let begins = shorter >= 3 && (other.starts_with(name) || name.starts_with(other));
    (steps <= (longer / 3).clamp(1, 3) || begins).then_some(steps)
}

/// The nearest of the names, if one is near.
pub(super) fn one<'a>(name: &str, names: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let name = name.to_lowercase();
    let near = names.into_iter().filter_map(|other| near(&name, &other.to_lowercase()).map(|steps| (steps, other)));
    near.min_by_key(|(steps, _)| *steps).map(|(_, other)| other)
}

/// Up to three names that are near, nearest first; `names` are pairs of what is compared and what
/// is told. What is told is told once.
pub(super) fn three<'a>(name: &str, names: impl IntoIterator<Item = (&'a str, &'a str)>) -> Vec<&'a str> {
    let mut found: Vec<(usize, &str)> =
        names.into_iter().filter_map(|(compared, told)| near(name, compared).map(|steps| (steps, told))).collect();
    found.sort_unstable();
    let mut told: Vec<&str> = Vec::new();
    for (_, name) in found {
        if !told.contains(&name) && told.len() < 3 {
            told.push(name);
        }
    }
    told
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_of_published_pairs() {
        // Levenshtein's textbook pair, and one swap (optimal string alignment). From memory.
        assert_eq!(steps("kitten", "sitting"), 3);
        assert_eq!(steps("lenght", "length"), 1);
        assert_eq!(steps("", "abc"), 3);
    }

    #[test]
    fn far_names_are_not_offered() {
        assert_eq!(one("Lenght", ["owner", "length", "length_m"]), Some("length"));
        for name in ["Date", "Room", "Type", "Total", "order"] {
            assert_eq!(one(name, ["note", "from", "to", "od", "kind"]), None, "{name}");
        }
        assert_eq!(one("colour", ["owner", "length", "to"]), None);
        assert_eq!(
            three("rg57", [("rg59", "RG-59"), ("rg58", "RG-58"), ("rg59b", "RG-59"), ("h07", "H07")]),
            ["RG-58", "RG-59"]
        );
    }
}
