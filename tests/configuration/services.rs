//! Kettle, MQTT, database and page.

use crate::support::{
    COMPLETE, MINIMAL, complete_with, edited, faults, instrument_with, minimal_with, parse,
};

#[test]
fn the_heel_is_less_than_the_capacity() {
    minimal_with(
        &[("capacity_l = 7000.0", "capacity_l = 7000.0\nheel_l = 7000")],
        "kettle.heel_l: is 7000; allowed is less than capacity_l (7000)",
    );
}

#[test]
fn a_strapping_table_ascends() {
    complete_with(
        &[("reading = 18.0", "reading = 0")],
        "kettle.strapping[1].reading: is 0; allowed is more than in the row before (0)",
    );
    complete_with(
        &[("volume_l = 1100.0", "volume_l = 7000.0")],
        "kettle.strapping[2].volume_l: is 7000; allowed is more than in the row before (7000)",
    );
}

#[test]
fn a_strapping_table_has_two_rows_or_more_and_needs_a_level() {
    let row = |at: u32| format!("[[kettle.strapping]]\nreading = {at}\nvolume_l = {at}\n");
    let one_row = format!("{MINIMAL}\n{}", row(0));
    assert_eq!(
        faults(&one_row),
        ["kettle.strapping: has 1; needed are at least 2"]
    );
    let two_rows = format!("{one_row}{}", row(1));
    assert_eq!(
        faults(&two_rows),
        ["kettle.strapping: has no use: no instrument measures kettle-volume"]
    );
}

#[test]
fn an_instrument_on_mqtt_needs_a_broker() {
    instrument_with(
        "id = \"ph\"\nmeasures = \"runnings-ph\"\nunit = \"pH\"\nlow = 2\nhigh = 10\nmqtt = { topic = \"ph\" }",
        "instrument[2] \"ph\": mqtt: needs a broker; add the table [mqtt] with its host",
    );
}

#[test]
fn a_topic_has_no_wildcards_and_is_not_empty() {
    for topic in ["plant/+/gravity", "plant/#", ""] {
        complete_with(
            &[("\"plant/kettle/gravity\"", &format!("\"{topic}\""))],
            &format!(
                "instrument[9] \"kettle_gravity\": mqtt.topic: is \"{topic}\"; allowed is an MQTT topic, not empty and \
                 without the wildcards '+' and '#'"
            ),
        );
    }
}

#[test]
fn an_instrument_does_not_feed_on_what_the_tun_publishes() {
    complete_with(
        &[(
            "\"plant/kettle/gravity\"",
            "\"lauterd/north-yard/tun-1/runoff\"",
        )],
        "instrument[9] \"kettle_gravity\": mqtt.topic: is \"lauterd/north-yard/tun-1/runoff\", where this tun itself \
         publishes; name the instrument's own topic",
    );
}

#[test]
fn a_pointer_is_a_json_pointer() {
    complete_with(
        &[("pointer = \"/value\"", "pointer = \"value\"")],
        "instrument[2] \"runnings_ph\": mqtt.pointer: is \"value\"; allowed is a JSON Pointer: \"\" or /member/member, with \
         ~0 for '~' and ~1 for '/' in a member's name",
    );
}

#[test]
fn a_password_needs_a_user_name() {
    complete_with(
        &[("username = \"lauterd\"", "")],
        "mqtt.username: is missing; a password needs a user name (MQTT 3.1.1, 3.1.2.9)",
    );
}

#[test]
fn an_authority_without_tls_has_no_use() {
    complete_with(
        &[("tls = true", "tls = false")],
        "mqtt.ca_file: has no use without tls = true",
    );
}

#[test]
fn the_port_of_the_broker_follows_tls() {
    let encrypted = parse(&edited(COMPLETE, &[("port = 8883", "")])).unwrap();
    assert_eq!(encrypted.mqtt.unwrap().port, 8883);
    let plain = parse(&format!("{MINIMAL}\n[mqtt]\nhost = \"broker\"\n")).unwrap();
    let plain = plain.mqtt.unwrap();
    assert_eq!(plain.port, 1883);
    assert_eq!(plain.client_id, "lauterd-north-yard-tun-1");
}

#[test]
fn the_database_has_a_plain_address() {
    for url in [
        "127.0.0.1:8086",
        "http://127.0.0.1:8086/proxy",
        "http://user:pass@db",
    ] {
        complete_with(
            &[("\"http://127.0.0.1:8086\"", &format!("\"{url}\""))],
            &format!(
                "influx.url: is \"{url}\"; allowed is http://host:port or https://host:port, without user, path or query"
            ),
        );
    }
}

#[test]
fn the_page_listens_on_an_address_with_a_port() {
    complete_with(
        &[("listen = \"127.0.0.1:8780\"", "listen = \"8780\"")],
        "web.listen: is \"8780\"; allowed is an IP address and port, such as 127.0.0.1:8780",
    );
}

#[test]
fn users_need_encryption_where_the_network_reaches() {
    let plain =
        format!("{MINIMAL}\n[web]\nlisten = \"0.0.0.0:8780\"\nusers_file = \"users.toml\"\n");
    let found = faults(&plain);
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(found[0].starts_with("web.users_file: ") && found[0].contains("in the clear"));
    let certified = format!("{plain}certificate_file = \"page.pem\"\nkey_file = \"page.key\"\n");
    let web = parse(&certified).unwrap().web;
    assert!(web.certificate.is_some() && web.users_file.is_some());
    let here = plain.replace("0.0.0.0", "127.0.0.1");
    assert!(parse(&here).unwrap().web.certificate.is_none());
    let nobody = plain.replace("users_file = \"users.toml\"\n", "");
    assert!(parse(&nobody).is_ok());
}

#[test]
fn a_certificate_and_its_key_come_together_and_the_key_once() {
    complete_with(
        &[("key_file = \"/etc/lauterd/page.key\"", "")],
        "web.certificate_file: has no private key: give key_file or key_credential too",
    );
    complete_with(
        &[("certificate_file = \"/etc/lauterd/page.pem\"", "")],
        "web.certificate_file: is missing; a private key needs its certificate",
    );
    let both = edited(COMPLETE, &[("# key_credential", "key_credential")]);
    assert!(
        faults(&both)
            .contains(&"web.key_credential: key_file is given too; give one of them".to_owned())
    );
}

#[test]
fn commands_need_users_and_an_answer() {
    let mqtt = format!("{MINIMAL}\n[mqtt]\nhost = \"broker\"\ncommands = true\n");
    assert_eq!(
        faults(&mqtt),
        ["mqtt.commands: needs the tokens of a users' file: give web.users_file too"]
    );
    let users = format!("{mqtt}publish = false\n[web]\nusers_file = \"users.toml\"\n");
    assert_eq!(
        faults(&users),
        ["mqtt.commands: needs publish = true: commands are answered"]
    );
    let right = users.replace("publish = false\n", "");
    assert!(parse(&right).unwrap().mqtt.unwrap().commands);
}

#[test]
fn sparkplug_and_the_page_of_all_tuns_need_a_broker() {
    let sparkplug = format!("{MINIMAL}\n[sparkplug]\ngroup = \"brewery\"\n");
    assert_eq!(
        faults(&sparkplug),
        ["sparkplug: needs the table [mqtt]: it publishes to the same broker"]
    );
    let silent =
        format!("{MINIMAL}\n[mqtt]\nhost = \"broker\"\npublish = false\noverview = true\n");
    assert_eq!(
        faults(&silent),
        ["mqtt.overview: needs publish = true: it is published"]
    );
    let fleet = format!("{MINIMAL}\n[web]\nfleet = true\n");
    assert_eq!(
        faults(&fleet),
        ["web.fleet: needs the table [mqtt]: the broker tells of the tuns"]
    );
}

#[test]
fn an_edge_node_is_named_after_its_site_and_a_page_by_its_host_name() {
    let given = parse(&format!(
        "{MINIMAL}\n[mqtt]\nhost = \"broker\"\n[sparkplug]\n[web]\nhost_name = \"brewhouse.example\"\n"
    ))
    .unwrap();
    let sparkplug = given.sparkplug.unwrap();
    assert_eq!(sparkplug.edge_node, given.site);
    assert_eq!(
        (sparkplug.group.as_str(), sparkplug.primary_host),
        ("lauterd", None)
    );
    assert_eq!(
        given.web.url.as_deref(),
        Some("http://brewhouse.example:8780")
    );
    let alone = parse(MINIMAL).unwrap();
    assert!(alone.sparkplug.is_none() && alone.web.url.is_none());
    let proxied = parse(&format!(
        "{MINIMAL}\n[web]\nurl = \"https://all.example:443/\"\n"
    ))
    .unwrap();
    assert_eq!(proxied.web.url.as_deref(), Some("https://all.example:443"));
}
