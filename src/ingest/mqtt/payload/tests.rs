use super::*;
use proptest::prelude::*;

fn plain() -> MqttPoint {
    MqttPoint {
        topic: "skid/density".to_owned(),
        pointer: None,
        time_pointer: None,
    }
}

fn at(pointer: &str, time_pointer: Option<&str>) -> MqttPoint {
    MqttPoint {
        topic: "skid/state".to_owned(),
        pointer: Some(pointer.to_owned()),
        time_pointer: time_pointer.map(str::to_owned),
    }
}

fn number(payload: &str, point: &MqttPoint) -> Result<f64, PayloadError> {
    decode(payload.as_bytes(), point)?.value(false)
}

#[test]
fn a_plain_number_may_have_spaces_around_it() {
    for payload in ["1043.2", " 1043.2\r\n", "+1043.2", "1.0432e3"] {
        assert_eq!(number(payload, &plain()), Ok(1043.2), "{payload:?}");
    }
    assert_eq!(number("-3", &plain()), Ok(-3.0));
}

#[test]
fn what_is_not_a_plain_number_is_refused_and_not_guessed() {
    for payload in [
        "",
        " ",
        "1043,2",
        "1043.2 kg/m3",
        "0x10",
        "1 043",
        "null",
        "[1]",
    ] {
        assert_eq!(
            number(payload, &plain()),
            Err(PayloadError::NotANumber),
            "{payload:?}"
        );
    }
    assert_eq!(decode(&[0xFF, 0x31], &plain()), Err(PayloadError::NotText));
}

#[test]
fn a_number_that_is_not_finite_keeps_its_own_cause() {
    for payload in ["NaN", "inf", "-Infinity", "1e999"] {
        let error = number(payload, &plain()).expect_err(payload);
        assert_eq!(error.cause(), Cause::NotFinite, "{payload}");
    }
    assert_eq!(
        number("1,5", &plain()).expect_err("comma").cause(),
        Cause::BadPayload
    );
}

#[test]
fn only_a_switch_may_speak_in_words() {
    for (payload, expected) in [
        ("on", 1.0),
        ("TRUE", 1.0),
        ("off", 0.0),
        (" false ", 0.0),
        ("1", 1.0),
    ] {
        let decoded = decode(payload.as_bytes(), &plain()).expect(payload);
        assert_eq!(decoded.value(true), Ok(expected), "{payload}");
    }
    assert_eq!(number("on", &plain()), Err(PayloadError::WordOfASwitch));
    assert_eq!(
        number("true", &at("", None)),
        Err(PayloadError::WordOfASwitch)
    );
}

#[test]
fn a_pointer_finds_numbers_booleans_and_numbers_in_quotes() {
    let document = r#"{"skid":{"density":[1043.2,"1044.5"],"rake":true,"a/b":7}}"#;
    assert_eq!(number(document, &at("/skid/density/0", None)), Ok(1043.2));
    assert_eq!(number(document, &at("/skid/density/1", None)), Ok(1044.5));
    assert_eq!(number(document, &at("/skid/a~1b", None)), Ok(7.0));
    let rake = decode(document.as_bytes(), &at("/skid/rake", None)).expect("a boolean");
    assert_eq!(rake.value(true), Ok(1.0));
}

#[test]
fn a_pointer_without_a_number_behind_it_says_what_is_there() {
    let document = r#"{"density":null,"text":"warm","list":[],"object":{}}"#;
    let error = |pointer: &str| number(document, &at(pointer, None)).expect_err(pointer);
    assert_eq!(error("/density"), PayloadError::Null("/density".to_owned()));
    assert_eq!(
        error("/other"),
        PayloadError::NothingThere("/other".to_owned())
    );
    for (pointer, found) in [
        ("/text", "a text"),
        ("/list", "a list"),
        ("/object", "an object"),
    ] {
        let expected = PayloadError::WrongType {
            pointer: pointer.to_owned(),
            found,
        };
        assert_eq!(error(pointer), expected);
    }
    assert_eq!(
        number("{", &at("/density", None)),
        Err(PayloadError::NotJson)
    );
}

#[test]
fn an_own_time_is_read_as_rfc_3339_seconds_or_milliseconds() {
    let expected = OwnTime::Given("2026-04-12T08:30:00.25Z".parse().expect("a time"));
    for time in [
        r#""2026-04-12T08:30:00.250Z""#,
        r#""2026-04-12T10:30:00.25+02:00""#,
        "1775982600.25",
        "1775982600250",
        r#""1775982600250""#,
    ] {
        let payload = format!(r#"{{"v":1,"t":{time}}}"#);
        let decoded = decode(payload.as_bytes(), &at("/v", Some("/t"))).expect("a value");
        assert_eq!(decoded.own_time, expected, "{time}");
    }
}

#[test]
fn a_bad_own_time_does_not_cost_the_value() {
    for time in [
        "null",
        r#""noon""#,
        "1e300",
        "[1]",
        r#""2026-04-12T08:30:00""#,
    ] {
        let payload = format!(r#"{{"v":1,"t":{time}}}"#);
        let decoded = decode(payload.as_bytes(), &at("/v", Some("/t"))).expect("a value");
        assert_eq!(decoded.own_time, OwnTime::Unreadable, "{time}");
        assert_eq!(decoded.value(false), Ok(1.0));
    }
    let without = decode(b"1", &at("", Some("/t"))).expect("a value");
    assert_eq!(without.own_time, OwnTime::Unreadable);
}

#[test]
fn an_excerpt_is_short_and_printable() {
    assert_eq!(excerpt(b"\x00dens\x1b[31mity\n"), "dens[31mity");
    assert_eq!(excerpt("é".repeat(200).as_bytes()).chars().count(), 60);
}

fn pointer() -> impl Strategy<Value = Option<String>> {
    proptest::option::of(prop_oneof![
        Just(String::new()),
        "(/[a-z0-9~/]{0,4}){0,3}",
        ".{0,8}"
    ])
}

proptest! {
    #[test]
    fn no_payload_makes_decoding_panic_or_yield_a_number_that_is_not_finite(
        payload in prop_oneof![
            proptest::collection::vec(any::<u8>(), 0..200),
            "[\\[\\]{}\",:0-9a-z.eE+-]{0,60}".prop_map(String::into_bytes),
        ],
        pointer in pointer(),
        time_pointer in pointer(),
    ) {
        let point = MqttPoint { topic: "t".to_owned(), pointer, time_pointer };
        if let Ok(Decoded { content: Content::Number(number), .. }) = decode(&payload, &point) {
            prop_assert!(number.is_finite());
        }
        prop_assert!(excerpt(&payload).chars().count() <= EXCERPT_CHARACTERS);
    }

    #[test]
    fn every_finite_number_survives_plain_and_in_json(value in any::<f64>().prop_filter("finite", |v| v.is_finite())) {
        prop_assert_eq!(number(&format!("{value:?}"), &plain()), Ok(value));
        let document = serde_json::json!({ "a": [ { "v": value } ] }).to_string();
        prop_assert_eq!(number(&document, &at("/a/0/v", None)), Ok(value));
    }

    #[test]
    fn times_to_the_millisecond_survive_each_way_of_writing(ms in 946_684_800_000i64..4_102_444_800_000) {
        let expected = OwnTime::Given(Timestamp::from_millisecond(ms).expect("in range"));
        for time in [
            serde_json::json!(ms),
            serde_json::json!(ms as f64 / 1e3),
            serde_json::json!(Timestamp::from_millisecond(ms).expect("in range").to_string()),
        ] {
            let payload = serde_json::json!({ "v": 0, "t": time }).to_string();
            let decoded = decode(payload.as_bytes(), &at("/v", Some("/t"))).expect("a value");
            prop_assert_eq!(decoded.own_time, expected);
        }
    }
}
