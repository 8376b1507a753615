//! The wire form of Sparkplug B: a payload with its metrics and their properties, as Protocol Buffers.
//!
//! Owns field numbers and datatypes of the Eclipse Sparkplug specification 3.0.0, chapter 6 (payloads), as far as lauterd
//! writes or reads them; what it does not know it skips, as Protocol Buffers provide. It knows no topic and no rule.

use prost::{Message, Oneof};

/// What a metric's or a property's value is, by the number that stands for it (chapter 6.4.16).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Datatype {
    Int32 = 3,
    Int64 = 4,
    UInt64 = 8,
    Double = 10,
    Boolean = 11,
    Text = 12,
}

#[derive(Clone, PartialEq, Message)]
pub struct Payload {
    /// Milliseconds since 1970 at which it was sent.
    #[prost(uint64, optional, tag = "1")]
    pub timestamp: Option<u64>,
    #[prost(message, repeated, tag = "2")]
    pub metrics: Vec<Metric>,
    #[prost(uint64, optional, tag = "3")]
    pub seq: Option<u64>,
}

#[derive(Clone, PartialEq, Message)]
pub struct Metric {
    #[prost(string, optional, tag = "1")]
    pub name: Option<String>,
    #[prost(uint64, optional, tag = "2")]
    pub alias: Option<u64>,
    /// Milliseconds since 1970 at which the value was so.
    #[prost(uint64, optional, tag = "3")]
    pub timestamp: Option<u64>,
    #[prost(uint32, optional, tag = "4")]
    pub datatype: Option<u32>,
    /// A value of the past, that is not the current one.
    #[prost(bool, optional, tag = "5")]
    pub is_historical: Option<bool>,
    #[prost(bool, optional, tag = "7")]
    pub is_null: Option<bool>,
    #[prost(message, optional, tag = "9")]
    pub properties: Option<PropertySet>,
    #[prost(oneof = "Value", tags = "10, 11, 13, 14, 15")]
    pub value: Option<Value>,
}

#[derive(Clone, PartialEq, Oneof)]
pub enum Value {
    #[prost(uint32, tag = "10")]
    Int(u32),
    #[prost(uint64, tag = "11")]
    Long(u64),
    #[prost(double, tag = "13")]
    Double(f64),
    #[prost(bool, tag = "14")]
    Boolean(bool),
    #[prost(string, tag = "15")]
    Text(String),
}

/// Keys and values in the same order.
#[derive(Clone, PartialEq, Message)]
pub struct PropertySet {
    #[prost(string, repeated, tag = "1")]
    pub keys: Vec<String>,
    #[prost(message, repeated, tag = "2")]
    pub values: Vec<PropertyValue>,
}

#[derive(Clone, PartialEq, Message)]
pub struct PropertyValue {
    #[prost(uint32, optional, tag = "1")]
    pub datatype: Option<u32>,
    #[prost(oneof = "Property", tags = "3, 8")]
    pub value: Option<Property>,
}

#[derive(Clone, PartialEq, Oneof)]
pub enum Property {
    #[prost(uint32, tag = "3")]
    Int(u32),
    #[prost(string, tag = "8")]
    Text(String),
}

impl PropertySet {
    pub fn put_text(&mut self, key: &str, text: &str) {
        self.put(key, Datatype::Text, Property::Text(text.to_owned()));
    }

    pub fn put_int(&mut self, key: &str, value: u32) {
        self.put(key, Datatype::Int32, Property::Int(value));
    }

    fn put(&mut self, key: &str, datatype: Datatype, value: Property) {
        self.keys.push(key.to_owned());
        self.values.push(PropertyValue {
            datatype: Some(datatype as u32),
            value: Some(value),
        });
    }
}

impl Payload {
    pub fn to_bytes(&self) -> Vec<u8> {
        self.encode_to_vec()
    }

    /// None when the bytes are no payload.
    pub fn from_bytes(bytes: &[u8]) -> Option<Self> {
        Self::decode(bytes).ok()
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        /// Anybody at the broker can send a command.
        #[test]
        fn whatever_bytes_come_are_a_payload_or_none(bytes in proptest::collection::vec(any::<u8>(), 0..200)) {
            if let Some(payload) = Payload::from_bytes(&bytes) {
                prop_assert!(Payload::from_bytes(&payload.to_bytes()).is_some());
            }
        }
    }

    #[test]
    fn a_payload_is_the_bytes_that_its_field_numbers_make() {
        let payload = Payload {
            timestamp: Some(300),
            metrics: vec![Metric {
                name: Some("a".to_owned()),
                alias: Some(2),
                datatype: Some(Datatype::Boolean as u32),
                value: Some(Value::Boolean(true)),
                ..Metric::default()
            }],
            seq: Some(5),
        };
        // Worked by hand: key = field number × 8 + wire type; 300 as a varint is AC 02.
        let by_hand = [
            0x08, 0xAC, 0x02, 0x12, 9, 0x0A, 1, b'a', 0x10, 2, 0x20, 11, 0x70, 1, 0x18, 5,
        ];
        assert_eq!(payload.to_bytes(), by_hand);
        assert_eq!(Payload::from_bytes(&by_hand), Some(payload));
    }

    #[test]
    fn what_is_no_payload_is_none_and_unknown_fields_are_skipped() {
        assert_eq!(Payload::from_bytes(&[0x12, 0xFF]), None);
        // Field 4, a uuid, which lauterd has no use for.
        let with_uuid = [0x22, 1, b'u', 0x18, 7];
        let read = Payload::from_bytes(&with_uuid).expect("a payload");
        assert_eq!(read.seq, Some(7));
    }
}
