//! Order of labels, strips and cartridges, as job files and flags say it.

use super::{Flags, millimetres, word};
use crate::error::{Doing, Error, Result};
use crate::shelf::{Order, Policy};

/// `[plan]` of a job file.
#[derive(Clone, Debug, Default, PartialEq, serde::Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(super) struct PlanFile {
    cartridge_order: Option<String>,
    together: Option<String>,
    one_batch_a_strip: Option<bool>,
    longest_strip_mm: Option<f64>,
    labels_a_strip: Option<i64>,
    swap_mm: Option<f64>,
    keep_mm: Option<f64>,
}

fn order(field: &str, text: &str) -> Result<Order> {
    word(field, text, "list, pairs or free", Order::named)
}

/// `17`, or `STOCK:17` in a job on several stocks.
fn label(flag: &str, text: &str) -> Result<(Option<String>, usize)> {
    let (stock, number) = match text.rsplit_once(':') {
        Some((stock, number)) => (Some(stock.to_owned()), number),
        None => (None, text),
    };
    let number = number.trim().parse().ok().filter(|&number: &usize| number > 0);
    number
        .map(|number| (stock, number))
        .ok_or_else(|| Error::input(format!("{flag}: found `{text}`, wanted a label's number such as 17, or STOCK:17")))
}

impl PlanFile {
    /// The policy of a file and the flags over it.
    pub(super) fn settle(&self, in_file: Option<&str>, flags: &Flags) -> Result<Policy> {
        let mut policy = Policy::default();
        if let Some(text) = in_file {
            policy.order = order("order", text)?;
        }
        if let Some(text) = &flags.order {
            policy.order = order("--order", text)?;
        }
        let doing = || "plan".to_owned();
        if let Some(text) = &self.cartridge_order {
            policy.given = word("cartridge_order", text, "free or given", |text| match text {
                "free" => Some(false),
                "given" => Some(true),
                _ => None,
            })
            .doing(doing)?;
        }
        policy.together.clone_from(&self.together);
        policy.one_batch = self.one_batch_a_strip.unwrap_or(false);
        let mm =
            |field, value: Option<f64>, least| value.map(|mm| millimetres(field, mm, least, 1_000_000.0)).transpose();
        policy.longest_strip = mm("plan: longest_strip_mm", self.longest_strip_mm, 10.0)?;
        if let Some(swap) = mm("plan: swap_mm", self.swap_mm, 0.0)? {
            policy.swap = swap;
        }
        if let Some(keep) = mm("plan: keep_mm", self.keep_mm, 0.0)? {
            policy.keep = keep;
        }
        if let Some(most) = self.labels_a_strip {
            let labels = u32::try_from(most).ok().filter(|&most| most > 0);
            policy.labels_a_strip = Some(labels.ok_or_else(|| {
                Error::input(format!("plan: labels_a_strip: found {most}, wanted 1 or more; leave it out for no limit"))
            })?);
        }
        let order = policy.order;
        let numbered = |flag: &str, text: &Option<String>| {
            let Some(text) = text else { return Ok(None) };
            if order != Order::List {
                return Err(Error::input(format!(
                    "{flag}: found it with order `{}`, wanted `list`: elsewhere labels have no number before they are planned; use --from-cartridge",
                    order.word()
                )));
            }
            label(flag, text).map(Some)
        };
        policy.from_label = numbered("--from-label", &flags.from_label)?;
        policy.to_label = numbered("--to-label", &flags.to_label)?;
        if let (Some((of, first)), Some((to, last))) = (&policy.from_label, &policy.to_label)
            && of == to
            && last < first
        {
            return Err(Error::input(format!(
                "--to-label: found {last}, wanted {first} or more: --from-label begins there"
            )));
        }
        Ok(policy)
    }
}
