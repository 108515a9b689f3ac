//! What GPX and KML have in common: an XML writer into memory, and text that any XML reader takes.

use std::io;

use quick_xml::{
    Writer,
    events::{BytesDecl, BytesEnd, BytesStart, BytesText, Event},
};

pub(super) struct Xml(Writer<Vec<u8>>);

/// Text without the characters that XML 1.0 (section 2.2) has no way to write; a mark stands in their place.
fn readable(text: &str) -> String {
    let known = |c: char| matches!(c, '\t' | '\n' | '\r' | '\u{20}'..='\u{D7FF}' | '\u{E000}'..='\u{FFFD}' | '\u{10000}'..);
    text.chars().map(|c| if known(c) { c } else { '\u{FFFD}' }).collect()
}

impl Xml {
    pub(super) fn new() -> io::Result<Self> {
        let mut xml = Writer::new_with_indent(Vec::new(), b' ', 1);
        xml.write_event(Event::Decl(BytesDecl::new("1.0", Some("UTF-8"), None)))?;
        Ok(Self(xml))
    }

    pub(super) fn begin(&mut self, name: &str, attributes: &[(&str, &str)]) -> io::Result<()> {
        self.0.write_event(Event::Start(element(name, attributes)))
    }

    pub(super) fn empty(&mut self, name: &str, attributes: &[(&str, &str)]) -> io::Result<()> {
        self.0.write_event(Event::Empty(element(name, attributes)))
    }

    pub(super) fn end(&mut self, name: &str) -> io::Result<()> {
        self.0.write_event(Event::End(BytesEnd::new(name)))
    }

    pub(super) fn text(&mut self, name: &str, text: &str) -> io::Result<()> {
        self.begin(name, &[])?;
        self.0.write_event(Event::Text(BytesText::new(&readable(text))))?;
        self.end(name)
    }

    pub(super) fn done(self) -> Vec<u8> {
        self.0.into_inner()
    }
}

fn element<'a>(name: &'a str, attributes: &[(&'a str, &'a str)]) -> BytesStart<'a> {
    BytesStart::new(name).with_attributes(attributes.iter().copied())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_text_is_written_so_that_it_reads_back() {
        let mut xml = Xml::new().unwrap();
        xml.text("name", "a < b & \"c\" ]]> \u{FFFE} é").unwrap();
        let text = String::from_utf8(xml.done()).unwrap();
        assert!(text.contains("a &lt; b &amp; "), "{text}");
        assert!(!text.contains("]]>") && !text.contains('\u{FFFE}') && text.contains('é'), "{text}");
    }
}
