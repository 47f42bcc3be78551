//! Messages of the protocol as bytes (RFC 8010, section 3), written and read.
//!
//! Reading takes what printers get wrong, where nothing is lost by it: text that is not UTF-8, names
//! given twice, values of unknown type. What cannot be walked through is refused with its place.

/// Operations (RFC 8011, section 5.4.15).
pub(super) mod operation {
    pub(crate) const PRINT_JOB: u16 = 0x0002;
    pub(crate) const VALIDATE_JOB: u16 = 0x0004;
    pub(crate) const CREATE_JOB: u16 = 0x0005;
    pub(crate) const SEND_DOCUMENT: u16 = 0x0006;
    pub(crate) const CANCEL_JOB: u16 = 0x0008;
    pub(crate) const GET_JOB_ATTRIBUTES: u16 = 0x0009;
    pub(crate) const GET_PRINTER_ATTRIBUTES: u16 = 0x000B;
}

/// Delimiters of groups (RFC 8010, section 3.5.1).
pub(super) mod group {
    pub(crate) const OPERATION: u8 = 0x01;
    pub(crate) const JOB: u8 = 0x02;
    pub(super) const END: u8 = 0x03;
    pub(crate) const PRINTER: u8 = 0x04;
    pub(crate) const UNSUPPORTED: u8 = 0x05;
}

/// Tags of values (RFC 8010, section 3.5.2).
mod tag {
    pub(super) const UNSUPPORTED: u8 = 0x10;
    pub(super) const LAST_OUT_OF_BAND: u8 = 0x1F;
    pub(super) const INTEGER: u8 = 0x21;
    pub(super) const BOOLEAN: u8 = 0x22;
    pub(super) const ENUM: u8 = 0x23;
    pub(super) const RESOLUTION: u8 = 0x32;
    pub(super) const RANGE: u8 = 0x33;
    pub(super) const COLLECTION: u8 = 0x34;
    pub(super) const TEXT_LANGUAGE: u8 = 0x35;
    pub(super) const NAME_LANGUAGE: u8 = 0x36;
    pub(super) const END_COLLECTION: u8 = 0x37;
    pub(super) const TEXT: u8 = 0x41;
    pub(super) const NAME: u8 = 0x42;
    pub(super) const KEYWORD: u8 = 0x44;
    pub(super) const URI: u8 = 0x45;
    pub(super) const CHARSET: u8 = 0x47;
    pub(super) const LANGUAGE: u8 = 0x48;
    pub(super) const MIME: u8 = 0x49;
    pub(super) const MEMBER: u8 = 0x4A;
    pub(super) const LAST_CHARACTERS: u8 = 0x5F;
}

/// Collections inside collections that are followed; `media-col` needs two.
const DEEPEST: usize = 8;

/// A value of an attribute.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Value {
    Integer(i32),
    Enum(i32),
    Boolean(bool),
    Range(i32, i32),
    /// Across, along, units (3 dots per inch, 4 dots per centimetre; RFC 8011, section 5.1.16).
    Resolution(i32, i32, u8),
    /// Any string of characters, with its tag.
    Text(u8, String),
    Collection(Vec<Attribute>),
    /// Unknown, no value, unsupported.
    OutOfBand(u8),
    /// Octets, dates and what later editions add.
    Other(u8, Vec<u8>),
}

/// A text of the other side as it may be shown: what commands a terminal becomes a sign of replacement.
fn plain(text: &str) -> String {
    text.replace(char::is_control, "\u{FFFD}")
}

impl Value {
    pub(super) fn keyword(text: &str) -> Self {
        Self::Text(tag::KEYWORD, text.to_owned())
    }
    pub(super) fn name(text: &str) -> Self {
        Self::Text(tag::NAME, text.to_owned())
    }
    pub(super) fn uri(text: &str) -> Self {
        Self::Text(tag::URI, text.to_owned())
    }
    pub(super) fn charset(text: &str) -> Self {
        Self::Text(tag::CHARSET, text.to_owned())
    }
    pub(super) fn language(text: &str) -> Self {
        Self::Text(tag::LANGUAGE, text.to_owned())
    }
    pub(super) fn media_type(text: &str) -> Self {
        Self::Text(tag::MIME, text.to_owned())
    }

    /// A string of characters or of octets, as text.
    pub(super) fn text(&self) -> Option<String> {
        match self {
            Self::Text(_, text) => Some(plain(text)),
            Self::Other(_, bytes) => Some(plain(&String::from_utf8_lossy(bytes))),
            _ => None,
        }
    }

    /// An integer or an enum.
    pub(super) fn number(&self) -> Option<i32> {
        match self {
            Self::Integer(number) | Self::Enum(number) => Some(*number),
            _ => None,
        }
    }

    /// An integer as a range of one, or a range.
    pub(super) fn range(&self) -> Option<(i32, i32)> {
        match self {
            Self::Integer(number) => Some((*number, *number)),
            Self::Range(least, most) => Some((*least, *most)),
            _ => None,
        }
    }

    /// The values of a collection's member.
    pub(super) fn member(&self, name: &str) -> &[Self] {
        match self {
            Self::Collection(members) => {
                members.iter().find(|member| member.name == name).map_or(&[], |member| &member.values)
            }
            _ => &[],
        }
    }

    fn tag(&self) -> u8 {
        match self {
            Self::Integer(_) => tag::INTEGER,
            Self::Enum(_) => tag::ENUM,
            Self::Boolean(_) => tag::BOOLEAN,
            Self::Range(..) => tag::RANGE,
            Self::Resolution(..) => tag::RESOLUTION,
            Self::Collection(_) => tag::COLLECTION,
            Self::Text(tag, _) | Self::OutOfBand(tag) | Self::Other(tag, _) => *tag,
        }
    }
}

/// A name with its values.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Attribute {
    pub(super) name: String,
    pub(super) values: Vec<Value>,
}

impl Attribute {
    pub(super) fn new(name: &str, value: Value) -> Self {
        Self { name: name.to_owned(), values: vec![value] }
    }
}

/// Attributes behind one delimiter.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Group {
    pub(super) tag: u8,
    pub(super) attributes: Vec<Attribute>,
}

/// A request or a reply, without the document behind it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Message {
    /// The operation of a request, the status of a reply.
    pub(super) code: u16,
    pub(super) id: u32,
    pub(super) groups: Vec<Group>,
}

impl Message {
    /// A request for a printer, with what each must begin with (RFC 8011, section 4.1.4).
    pub(super) fn request(operation: u16, id: u32, printer: &str) -> Self {
        let attributes = vec![
            Attribute::new("attributes-charset", Value::charset("utf-8")),
            Attribute::new("attributes-natural-language", Value::language("en")),
            Attribute::new("printer-uri", Value::uri(printer)),
        ];
        Self { code: operation, id, groups: vec![Group { tag: group::OPERATION, attributes }] }
    }

    /// Adds an attribute to the last group of this sort, or to a new one.
    pub(super) fn add(&mut self, tag: u8, name: &str, value: Value) {
        self.add_all(tag, name, vec![value]);
    }

    /// The same with several values.
    pub(super) fn add_all(&mut self, tag: u8, name: &str, values: Vec<Value>) {
        let attribute = Attribute { name: name.to_owned(), values };
        match self.groups.iter_mut().rfind(|group| group.tag == tag) {
            Some(group) => group.attributes.push(attribute),
            None => self.groups.push(Group { tag, attributes: vec![attribute] }),
        }
    }

    /// All values of a name in groups of a sort; a name given twice gives both.
    pub(super) fn values<'m>(&'m self, tag: u8, name: &'m str) -> impl Iterator<Item = &'m Value> {
        self.groups
            .iter()
            .filter(move |group| group.tag == tag)
            .flat_map(|group| &group.attributes)
            .filter(move |attribute| attribute.name == name)
            .flat_map(|attribute| &attribute.values)
    }

    /// The first text of a name.
    pub(super) fn text(&self, tag: u8, name: &str) -> Option<String> {
        self.values(tag, name).find_map(Value::text)
    }

    /// All texts of a name.
    pub(super) fn texts(&self, tag: u8, name: &str) -> Vec<String> {
        self.values(tag, name).filter_map(Value::text).collect()
    }

    /// The first number of a name.
    pub(super) fn number(&self, tag: u8, name: &str) -> Option<i32> {
        self.values(tag, name).find_map(Value::number)
    }

    /// The message as it goes over the link. Version 1.1, which every printer takes
    /// (RFC 8011, section 4.1.8).
    pub(super) fn to_bytes(&self) -> Vec<u8> {
        let mut bytes = vec![1, 1];
        bytes.extend(self.code.to_be_bytes());
        bytes.extend(self.id.to_be_bytes());
        for group in &self.groups {
            bytes.push(group.tag);
            for attribute in &group.attributes {
                put_attribute(&mut bytes, &attribute.name, &attribute.values);
            }
        }
        bytes.push(group::END);
        bytes
    }

    /// Reads a message from its first byte.
    ///
    /// # Errors
    /// Where it stops making sense: the place and what is wrong there.
    pub(super) fn parse(bytes: &[u8]) -> Result<Self, String> {
        let mut input = Input { bytes, at: 0 };
        let major = input.byte()?;
        let _minor = input.byte()?;
        if !(1..=2).contains(&major) {
            return Err(format!("found version {major}, wanted 1 or 2"));
        }
        let mut message = Self { code: input.short()?, id: input.long()?, groups: Vec::new() };
        loop {
            let at = input.at;
            match input.byte()? {
                group::END => return Ok(message),
                tag @ 0..=0x0F => message.groups.push(Group { tag, attributes: Vec::new() }),
                tag => {
                    let name = input.short_string()?;
                    let value = input.value(tag, 0)?;
                    let group =
                        message.groups.last_mut().ok_or_else(|| format!("byte {at}: a value before a group"))?;
                    match group.attributes.last_mut() {
                        Some(last) if name.is_empty() => last.values.push(value),
                        None if name.is_empty() => return Err(format!("byte {at}: a value without a name")),
                        _ => group
                            .attributes
                            .push(Attribute { name: String::from_utf8_lossy(name).into_owned(), values: vec![value] }),
                    }
                }
            }
        }
    }
}

/// A string behind its length. Nothing here comes near 32 KiB but by mistake: it is cut.
fn put_string(bytes: &mut Vec<u8>, string: &[u8]) {
    let length = u16::try_from(string.len()).unwrap_or(u16::MAX);
    bytes.extend(length.to_be_bytes());
    bytes.extend(&string[..usize::from(length)]);
}

fn put_attribute(bytes: &mut Vec<u8>, name: &str, values: &[Value]) {
    for (nth, value) in values.iter().enumerate() {
        bytes.push(value.tag());
        put_string(bytes, if nth == 0 { name.as_bytes() } else { b"" });
        put_value(bytes, value);
    }
}

fn put_value(bytes: &mut Vec<u8>, value: &Value) {
    match value {
        Value::Integer(number) | Value::Enum(number) => put_string(bytes, &number.to_be_bytes()),
        Value::Boolean(yes) => put_string(bytes, &[u8::from(*yes)]),
        Value::Range(least, most) => put_string(bytes, &[least.to_be_bytes(), most.to_be_bytes()].concat()),
        Value::Resolution(across, along, units) => {
            put_string(bytes, &[&across.to_be_bytes()[..], &along.to_be_bytes(), &[*units]].concat());
        }
        Value::Text(_, text) => put_string(bytes, text.as_bytes()),
        Value::OutOfBand(_) => put_string(bytes, b""),
        Value::Other(_, octets) => put_string(bytes, octets),
        // RFC 8010, section 3.1.6: members are values without a name between begin and end.
        Value::Collection(members) => {
            put_string(bytes, b"");
            for member in members {
                bytes.push(tag::MEMBER);
                put_string(bytes, b"");
                put_string(bytes, member.name.as_bytes());
                put_attribute(bytes, "", &member.values);
            }
            bytes.push(tag::END_COLLECTION);
            put_string(bytes, b"");
            put_string(bytes, b"");
        }
    }
}

struct Input<'b> {
    bytes: &'b [u8],
    at: usize,
}

impl<'b> Input<'b> {
    fn take(&mut self, count: usize) -> Result<&'b [u8], String> {
        let rest = self.bytes.get(self.at..).unwrap_or_default();
        let taken =
            rest.get(..count).ok_or_else(|| format!("byte {}: found {} bytes, wanted {count}", self.at, rest.len()))?;
        self.at += count;
        Ok(taken)
    }

    fn byte(&mut self) -> Result<u8, String> {
        Ok(self.take(1)?[0])
    }

    fn short(&mut self) -> Result<u16, String> {
        let two = self.take(2)?;
        Ok(u16::from_be_bytes([two[0], two[1]]))
    }

    fn long(&mut self) -> Result<u32, String> {
        let four = self.take(4)?;
        Ok(u32::from_be_bytes([four[0], four[1], four[2], four[3]]))
    }

    fn integer(&mut self) -> Result<i32, String> {
        Ok(i32::from_be_bytes(self.long()?.to_be_bytes()))
    }

    fn short_string(&mut self) -> Result<&'b [u8], String> {
        let length = self.short()?;
        self.take(usize::from(length))
    }

    /// The length and value behind a tag and a name.
    fn value(&mut self, tag: u8, depth: usize) -> Result<Value, String> {
        let at = self.at;
        let bytes = self.short_string()?;
        let mut inner = Input { bytes, at: 0 };
        let value = match tag {
            tag::UNSUPPORTED..=tag::LAST_OUT_OF_BAND => return Ok(Value::OutOfBand(tag)),
            tag::COLLECTION => return self.collection(depth),
            tag::INTEGER => inner.integer().map(Value::Integer),
            tag::ENUM => inner.integer().map(Value::Enum),
            tag::BOOLEAN => inner.byte().map(|byte| Value::Boolean(byte != 0)),
            tag::RANGE => inner.integer().and_then(|least| Ok(Value::Range(least, inner.integer()?))),
            tag::RESOLUTION => {
                inner.integer().and_then(|across| Ok(Value::Resolution(across, inner.integer()?, inner.byte()?)))
            }
            tag::TEXT_LANGUAGE | tag::NAME_LANGUAGE => inner.short_string().and_then(|_language| {
                let text = String::from_utf8_lossy(inner.short_string()?).into_owned();
                Ok(Value::Text(if tag == tag::TEXT_LANGUAGE { tag::TEXT } else { tag::NAME }, text))
            }),
            tag::TEXT..=tag::LAST_CHARACTERS => Ok(Value::Text(tag, String::from_utf8_lossy(bytes).into_owned())),
            _ => Ok(Value::Other(tag, bytes.to_vec())),
        };
        value.map_err(|_| format!("byte {at}: found a value of {} bytes with tag {tag:#04x}, too short", bytes.len()))
    }

    fn collection(&mut self, depth: usize) -> Result<Value, String> {
        if depth == DEEPEST {
            return Err(format!("byte {}: collections inside collections deeper than {DEEPEST}", self.at));
        }
        let mut members: Vec<Attribute> = Vec::new();
        loop {
            let at = self.at;
            let tag = self.byte()?;
            self.short_string()?;
            match tag {
                tag::END_COLLECTION => {
                    self.short_string()?;
                    return Ok(Value::Collection(members));
                }
                tag::MEMBER => {
                    let name = String::from_utf8_lossy(self.short_string()?).into_owned();
                    members.push(Attribute { name, values: Vec::new() });
                }
                _ => {
                    let value = self.value(tag, depth + 1)?;
                    let member = members.last_mut().ok_or_else(|| format!("byte {at}: a member without a name"))?;
                    member.values.push(value);
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sample() -> Message {
        let mut message = Message::request(operation::PRINT_JOB, 7, "ipp://localhost/ipp/print");
        message.add(group::OPERATION, "document-format", Value::media_type("a/b"));
        let size = Value::Collection(vec![
            Attribute::new("x-dimension", Value::Integer(1200)),
            Attribute::new("y-dimension", Value::Range(1000, 100_000)),
        ]);
        message.add(group::JOB, "media-col", Value::Collection(vec![Attribute::new("media-size", size)]));
        message.add_all(group::JOB, "finishings", vec![Value::Enum(11), Value::Enum(60)]);
        message.add(group::JOB, "printer-resolution", Value::Resolution(180, 360, 3));
        message.add(group::JOB, "held", Value::Boolean(true));
        message.add(group::JOB, "gone", Value::OutOfBand(0x13));
        message.add(group::JOB, "octets", Value::Other(0x30, vec![0xFF, 0]));
        message
    }

    #[test]
    fn what_is_written_is_read() {
        let message = sample();
        assert_eq!(Message::parse(&message.to_bytes()).unwrap(), message);
        let media = message.values(group::JOB, "media-col").next().unwrap();
        assert_eq!(media.member("media-size")[0].member("y-dimension")[0].range(), Some((1000, 100_000)));
    }

    /// The Print-Job request of RFC 8010, appendix A.1 (from memory, checked against the tables of its
    /// section 3): version 1.1, operation 2, id 1.
    #[test]
    fn the_first_bytes_are_those_of_the_standard() {
        let mut message = Message::request(operation::PRINT_JOB, 1, "ipp://printer.example/ipp/print/pinetree");
        message.add(group::OPERATION, "job-name", Value::name("foobar"));
        message.add(group::JOB, "copies", Value::Integer(20));
        let mut wanted = vec![1, 1, 0, 2, 0, 0, 0, 1, 1, 0x47, 0, 18];
        wanted.extend(b"attributes-charset\x00\x05utf-8\x48\x00\x1battributes-natural-language\x00\x02en");
        wanted.extend(b"\x45\x00\x0bprinter-uri\x00\x28ipp://printer.example/ipp/print/pinetree");
        wanted.extend(b"\x42\x00\x08job-name\x00\x06foobar\x02\x21\x00\x06copies\x00\x04\x00\x00\x00\x14\x03");
        assert_eq!(message.to_bytes(), wanted);
    }

    #[test]
    fn text_with_a_language_is_text() {
        let mut bytes = vec![2, 0, 0, 0, 0, 0, 0, 1, 4, 0x35, 0, 1, b'a', 0, 8, 0, 2, b'e', b'n', 0, 2, b'h', 0xC3, 3];
        let message = Message::parse(&bytes).unwrap();
        assert_eq!(message.text(group::PRINTER, "a").as_deref(), Some("h\u{FFFD}"));
        // The inner length leaves the value.
        bytes[20] = 0xFF;
        let error = Message::parse(&bytes).unwrap_err();
        assert!(error.starts_with("byte 13: found a value of 8 bytes with tag 0x35"), "{error}");
    }

    #[test]
    fn a_message_cut_or_changed_anywhere_is_refused_or_read_and_never_panics() {
        let bytes = sample().to_bytes();
        for end in 0..bytes.len() {
            assert!(Message::parse(&bytes[..end]).is_err(), "cut to {end} bytes");
        }
        let mut read = 0;
        for at in 0..bytes.len() {
            for value in [0, 1, 3, 0x21, 0x34, 0x35, 0x37, 0x4A, 0x7F, 0xFF] {
                let mut changed = bytes.clone();
                changed[at] = value;
                read += usize::from(Message::parse(&changed).is_ok());
            }
        }
        assert!(read > 0);
    }

    #[test]
    fn collections_are_not_followed_for_ever() {
        let nested =
            |depth| (0..depth).fold(Value::Integer(1), |inner, _| Value::Collection(vec![Attribute::new("m", inner)]));
        let mut message = Message::request(operation::PRINT_JOB, 1, "ipp://h/");
        message.add(group::JOB, "c", nested(DEEPEST));
        assert!(Message::parse(&message.to_bytes()).is_ok());
        message.add(group::JOB, "d", nested(DEEPEST + 1));
        assert!(Message::parse(&message.to_bytes()).unwrap_err().contains("deeper than 8"));
    }
}
