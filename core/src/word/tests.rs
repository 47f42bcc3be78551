use super::*;
use std::collections::HashSet;

fn words() -> &'static Words {
    Words::shipped()
}

fn apart(a: &str, b: &str) -> Apart {
    words().heard(a).apart(&words().heard(b), FAR)
}

/// The sets of the rhyme test, upper case.
fn rhyme_test() -> Vec<Vec<String>> {
    let lines = include_str!("rhyme-test.txt").lines().filter(|line| !line.starts_with('#'));
    lines.map(|line| line.split(' ').map(str::to_uppercase).collect()).collect()
}

/// The words of the data file between its second and third part, and after.
fn compared_only() -> Vec<&'static str> {
    let text = include_str!("../../data/words.txt");
    let last = text.split("\n\n").nth(2).unwrap();
    last.lines().filter(|line| !line.starts_with('#')).filter_map(|line| line.split(' ').next()).collect()
}

#[test]
fn every_line_of_the_list_is_read() {
    let lines = include_str!("../../data/words.txt").lines();
    let wanted = lines.filter(|line| !line.is_empty() && !line.starts_with('#')).count();
    assert_eq!(words().sounds.len(), wanted, "a word stands twice, or has a phoneme that is none");
}

#[test]
fn the_list_is_long_and_its_words_short() {
    assert!(words().iter().count() >= 400, "{}", words().iter().count());
    let mut seen = HashSet::new();
    for word in words().iter() {
        assert!((3..=8).contains(&word.len()) && word.bytes().all(|b| b.is_ascii_uppercase()), "{word}");
        assert!(words().sound(word).is_some(), "{word} has no pronunciation");
        assert!(seen.insert(word), "{word} stands twice");
    }
}

#[test]
fn no_two_proposed_words_are_near() {
    let list: Vec<&Heard> = words().proposed.iter().collect();
    for (i, a) in list.iter().enumerate() {
        for b in &list[..i] {
            let (one, other) = (a.apart(b, FAR), b.apart(a, FAR));
            assert_eq!(one, other, "{} {}", a.word, b.word);
            assert!(one >= NEAR, "{} and {} are {one} apart", a.word, b.word);
        }
    }
}

#[test]
fn no_proposed_word_is_taken_for_a_letter_a_number_or_a_call() {
    let said = "ALPHA BRAVO CHARLIE DELTA ECHO FOXTROT GOLF HOTEL INDIA JULIET KILO LIMA MIKE NOVEMBER OSCAR PAPA QUEBEC \
                ROMEO SIERRA TANGO UNIFORM VICTOR WHISKEY YANKEE ZULU ZERO ONE TWO THREE FOUR FIVE SIX SEVEN EIGHT NINE \
                TEN GO CUE STOP LIVE DEAD HOT LEFT RIGHT UP DOWN FLY GRID NOISE READY HOLD FIRE CURTAIN CABLE BATTEN \
                DIMMER MONITOR";
    let said: Vec<&str> = said.split_whitespace().collect();
    for word in words().iter() {
        assert!(!said.contains(&word), "{word}");
        // Calls and numbers come in another tone and place than a batch word: a little nearer is enough.
        let near: Vec<&&str> = said.iter().filter(|call| apart(word, call) < 200).collect();
        assert!(near.is_empty(), "{word} is near {near:?}");
    }
    for call in said {
        assert!(words().sound(call).is_some(), "{call} has no pronunciation");
    }
}

#[test]
fn one_word_at_most_is_of_a_rhyme_test_set() {
    let sets = rhyme_test();
    assert_eq!(sets.len(), 50);
    for set in &sets {
        assert_eq!(set.len(), 6, "{set:?}");
        let ours: Vec<&str> = words().iter().filter(|word| set.iter().any(|member| member == word)).collect();
        assert!(ours.len() <= 1, "{ours:?}");
    }
}

#[test]
fn the_rhyme_test_finds_our_rule_sound() {
    // Every two words of a set are what the rule calls near: it is made for such pairs.
    let mut missed = HashSet::new();
    for set in rhyme_test() {
        for a in &set {
            for b in set.iter().filter(|b| *b != a && apart(a, b) >= NEAR) {
                missed.insert(a.min(b).clone() + " " + a.max(b));
            }
        }
    }
    // The dictionary gives these another vowel than the rest of their sets.
    let other_vowel = |pair: &&String| pair.split(' ').any(|word| ["TEAR", "HEAR", "RAW"].contains(&word));
    let mut missed: Vec<&String> = missed.iter().filter(|pair| !other_vowel(pair)).collect();
    missed.sort();
    assert!(missed.is_empty(), "{missed:?}");
}

#[test]
fn distance_is_symmetric_and_zero_for_the_same() {
    let several = ["OTTER", "Boxer", "FOXES", "sea otter", "ÆBLE", "", "7", "QWZX", "otter  ", "BUTTER"];
    for a in several {
        assert_eq!(apart(a, a), 0, "{a}");
        for b in several {
            assert_eq!(apart(a, b), apart(b, a), "{a} {b}");
        }
    }
    assert_eq!(apart("otter  ", "OTTER"), 0);
    assert!(apart("OTTER", "PUMPKIN") > 600);
}

#[test]
fn a_typed_word_is_held_against_those_in_use() {
    for (word, used, wanted) in [
        ("otter", "Otter ", Some(How::Same)),
        ("MASS", "math", Some(How::SoundsAlike)),
        ("OTER", "OTTER", Some(How::SoundsAlike)),
        ("OTTERS", "OTTER", Some(How::Near)),
        ("FYSH", "PHISH", Some(How::Near)),
        ("LEMON", "ELEVEN", Some(How::Near)),
        ("SPOON", "BALLOON", Some(How::Near)),
        ("SEA OTTER", "SEA OTTERS", Some(How::Near)),
        ("ÉCLAIR", "éclairs", Some(How::Near)),
        ("OTTER", "PUMPKIN", None),
        ("GRZLBRM", "OTTER", None),
        ("日本", "OTTER", None),
        ("", "OTTER", None),
    ] {
        let near = words().near(word, &["WALRUS", used]);
        let found = near.first().map(|near| near.how);
        assert_eq!(found, wanted, "{word} {used} {}", apart(word, used));
        assert!(near.iter().all(|near| near.word == used), "{near:?}");
    }
}

#[test]
fn the_nearest_comes_first_with_a_sentence() {
    let near = words().near("lemon", &["ELEVEN", "Lemmon", "LEMON", "OTTER"]);
    let texts: Vec<&str> = near.iter().map(|near| near.text.as_str()).collect();
    assert_eq!(
        texts,
        [
            "`LEMON` is in use already",
            "`LEMON` sounds all but the same as `LEMMON`, which is in use",
            "`LEMON` is easily heard as `ELEVEN`, which is in use",
        ]
    );
    assert_eq!(near[1].word, "Lemmon");
}

#[test]
fn proposals_are_never_near_to_one_in_use_nor_to_each_other() {
    let mut used: Vec<&str> = compared_only();
    used.extend(["otter", "Sea Lion", "ÆBLE", "PUMPKYN", "x", ""]);
    for used in [&used[..], &used[..40], &["OTTER"], &[]] {
        let found = words().propose(used, 1000);
        assert!(used.len() > 40 || found.len() > 250, "{} of {}", found.len(), used.len());
        for (nth, word) in found.iter().enumerate() {
            for other in used.iter().chain(&found[..nth]).filter(|other| !other.trim().is_empty()) {
                assert!(apart(word, other) >= NEAR, "{word} {other}");
            }
        }
    }
}

#[test]
fn proposals_are_the_farthest_ties_in_order_of_preference() {
    let used = ["OTTER", "PUMPKIN", "QWERTY", "BRIDGE", "BADGERS"];
    let mut all: Vec<&str> = used.to_vec();
    let mut wanted = Vec::new();
    for _ in 0..12 {
        // The slow way: each word with its distance to the nearest of those in use.
        let least = |word: &str| all.iter().map(|used| apart(word, used)).min().unwrap_or(FAR);
        let scored = words().iter().map(|word| (least(word), word));
        let (_, best) = scored.reduce(|best, next| if next.0 > best.0 { next } else { best }).unwrap();
        wanted.push(best);
        all.push(best);
    }
    assert_eq!(words().propose(&used, 12), wanted);
    assert_eq!(words().propose(&[], 1), [words().iter().next().unwrap()]);
    assert!(words().propose(&used, 0).is_empty());
}

#[test]
fn all_in_use_leaves_nothing_to_propose() {
    let all: Vec<&str> = words().iter().collect();
    assert!(words().propose(&all, 5).is_empty());
    let but_one: Vec<&str> = all.iter().copied().filter(|word| *word != "OTTER").collect();
    assert_eq!(words().propose(&but_one, 5), ["OTTER"]);
}

#[test]
fn keys_are_those_published() {
    let mut checked = 0;
    for line in include_str!("vectors.tsv").lines().filter(|line| !line.starts_with('#')) {
        let fields: Vec<&str> = line.split('\t').collect();
        let [word, primary, alternate] = fields[..] else { panic!("{line}") };
        let found = keys(word).unwrap();
        let four = |key: &str| key[..key.len().min(4)].to_owned();
        assert_eq!((four(&found.primary), four(&found.alternate)), (primary.into(), alternate.into()), "{word}");
        checked += 1;
    }
    assert_eq!(checked, 1220);
}

#[test]
fn keys_are_not_cut_off_and_only_of_english_letters() {
    assert_eq!(keys("caterpillar").unwrap().primary, "KTRPLR");
    assert_eq!(keys("ÆBLE"), None);
    assert_eq!(apart(&"x7".repeat(500), &"x7".repeat(400)), 0);
    for odd in ["", " ", "-", "7", "GH", "GG", "J", "X", "WICZ", "L L", "\u{7f}"] {
        assert!(keys(odd).is_some(), "{odd}");
    }
}
