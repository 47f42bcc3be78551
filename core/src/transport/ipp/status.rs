//! What a reply says of a request: its status as a result.

use super::message::{Message, group};
use crate::error::{Error, Kind, Result};

const FORMAT_NOT_SUPPORTED: u16 = 0x040A;
const NOT_FOUND: u16 = 0x0406;
const BUSY: u16 = 0x0507;

/// Status codes and what they mean to a person (RFC 8011, appendix B.1).
const MEANINGS: [(u16, &str); 20] = [
    (0x0400, "the printer does not understand the request"),
    (0x0401, "the printer forbids it"),
    (0x0402, "the printer wants a password, which is not supported"),
    (0x0403, "the printer does not allow it to this person"),
    (0x0404, "it is not possible now, the job may have ended"),
    (0x0405, "the printer waited too long for the document"),
    (NOT_FOUND, "the printer knows no such queue or job"),
    (0x0407, "the queue or job is gone"),
    (0x0408, "the document is too large for the printer"),
    (FORMAT_NOT_SUPPORTED, "the printer does not take this format"),
    (0x040B, "the printer does not take these settings"),
    (0x0411, "the printer finds the document damaged"),
    (0x0500, "the printer has an internal error"),
    (0x0501, "the printer does not know the operation"),
    (0x0502, "the printer gives no service now"),
    (0x0504, "the printer has a fault"),
    (0x0505, "the printer has a passing fault, try again"),
    (0x0506, "the printer takes no jobs now"),
    (BUSY, "the printer is busy with another job"),
    (0x0508, "the job was canceled"),
];

/// Whether a request may be made again after a while.
pub(super) fn is_busy(reply: &Message) -> bool {
    reply.code == BUSY
}

/// A refusal as an error, with what the printer says of it.
///
/// # Errors
/// Kind `Input` for a format it does not take, kind `Device` for all else.
pub(super) fn judge(reply: &Message) -> Result<()> {
    // RFC 8011, appendix B.1: 0x0000 to 0x00FF are successful.
    if reply.code < 0x0100 {
        return Ok(());
    }
    let meaning = MEANINGS.iter().find(|(code, _)| *code == reply.code);
    let mut text = meaning.map_or_else(|| "the printer refuses".to_owned(), |(_, meaning)| (*meaning).to_owned());
    text = format!("{text} (status {:#06x}", reply.code);
    if let Some(said) = reply.text(group::OPERATION, "status-message").filter(|said| !said.is_empty()) {
        text = format!("{text}, it says: {}", said.escape_debug());
    }
    let refused = names(reply);
    if !refused.is_empty() {
        text = format!("{text}; it refuses {}", refused.join(", "));
    }
    let format = reply.code == FORMAT_NOT_SUPPORTED || refused.iter().any(|name| name == "document-format");
    let kind = if format { Kind::Input } else { Kind::Device };
    Err(Error::new(kind, format!("{text})")))
}

fn names(reply: &Message) -> Vec<String> {
    let groups = reply.groups.iter().filter(|group| group.tag == group::UNSUPPORTED);
    groups.flat_map(|group| &group.attributes).map(|attribute| attribute.name.clone()).collect()
}

/// What was ignored or replaced by a request that was taken, as sentences.
pub(super) fn ignored(reply: &Message) -> Vec<String> {
    names(reply).into_iter().map(|name| format!("the printer ignores `{name}` or does it in another way")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::transport::ipp::message::Value;

    #[test]
    fn a_refusal_says_who_must_act_and_what_was_refused() {
        let mut reply = Message { code: 0x040A, id: 1, groups: Vec::new() };
        reply.add(group::OPERATION, "status-message", Value::name("no\n"));
        reply.add(group::UNSUPPORTED, "document-format", Value::media_type("a/b"));
        let error = judge(&reply).unwrap_err();
        assert_eq!(error.kind(), Kind::Input);
        let wanted =
            "the printer does not take this format (status 0x040a, it says: no\u{FFFD}; it refuses document-format)";
        assert_eq!(error.to_string(), wanted);
        reply.code = 0x0001;
        assert!(judge(&reply).is_ok());
        assert_eq!(ignored(&reply).len(), 1);
        reply.code = 0x0599;
        assert!(judge(&reply).unwrap_err().to_string().starts_with("the printer refuses (status 0x0599"));
    }

    #[test]
    fn the_codes_stand_in_order() {
        assert!(MEANINGS.windows(2).all(|two| two[0].0 < two[1].0));
    }
}
