//! Encrypted connections with a certificate of the test's own, and the commands over them.

use std::fs;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::path::{Path, PathBuf};

use lauterd::access::Role;
use lauterd::config::model::{Certificate, Web};
use lauterd::exit::Kind;
use lauterd::web::Entrance;
use openssl::asn1::Asn1Time;
use openssl::bn::BigNum;
use openssl::hash::MessageDigest;
use openssl::pkey::{PKey, Private};
use openssl::rsa::Rsa;
use openssl::x509::extension::{BasicConstraints, SubjectAlternativeName};
use openssl::x509::{X509, X509NameBuilder};
use tempfile::TempDir;

use crate::brewhouse::{Brewhouse, TUN};
use crate::command_line::lauterd;
use crate::http::{self, Reply};
use crate::people::{PASSWORD, add_token, add_user, web_settings};

const NAME: &str = "lauter.brewery.example";

/// A certificate that signed itself, for the name and the loopback.
fn certificate(key: &PKey<Private>) -> X509 {
    let mut name = X509NameBuilder::new().unwrap();
    name.append_entry_by_text("CN", NAME).unwrap();
    let name = name.build();
    let mut builder = X509::builder().unwrap();
    builder.set_version(2).unwrap();
    let serial = BigNum::from_u32(1).unwrap().to_asn1_integer().unwrap();
    builder.set_serial_number(&serial).unwrap();
    builder.set_subject_name(&name).unwrap();
    builder.set_issuer_name(&name).unwrap();
    builder.set_pubkey(key).unwrap();
    builder
        .set_not_before(&Asn1Time::days_from_now(0).unwrap())
        .unwrap();
    builder
        .set_not_after(&Asn1Time::days_from_now(2).unwrap())
        .unwrap();
    let authority = BasicConstraints::new().ca().build().unwrap();
    builder.append_extension(authority).unwrap();
    let names = SubjectAlternativeName::new()
        .dns(NAME)
        .dns("localhost")
        .ip("127.0.0.1")
        .build(&builder.x509v3_context(None, None))
        .unwrap();
    builder.append_extension(names).unwrap();
    builder.sign(key, MessageDigest::sha256()).unwrap();
    builder.build()
}

struct Encrypted {
    house: Brewhouse,
    directory: TempDir,
    token: PathBuf,
}

fn new_key() -> PKey<Private> {
    PKey::from_rsa(Rsa::generate(2048).unwrap()).unwrap()
}

fn write_certificate(directory: &Path) -> Certificate {
    let key = new_key();
    let certificate = Certificate {
        chain: directory.join("page.pem"),
        key: directory.join("page.key"),
    };
    fs::write(
        &certificate.chain,
        self::certificate(&key).to_pem().unwrap(),
    )
    .unwrap();
    fs::write(&certificate.key, key.private_key_to_pem_pkcs8().unwrap()).unwrap();
    certificate
}

impl Encrypted {
    fn new() -> Self {
        let directory = tempfile::tempdir().unwrap();
        let users = directory.path().join("users.toml");
        add_user(&users, "anna", Role::Operate);
        let token = directory.path().join("token");
        fs::write(
            &token,
            add_token(&users, "desk", Role::Operate, None) + "\n",
        )
        .unwrap();
        let settings = Web {
            certificate: Some(write_certificate(directory.path())),
            ..web_settings(&users)
        };
        Self {
            house: Brewhouse::behind(Entrance::of(&settings).unwrap(), &[TUN]),
            directory,
            token,
        }
    }

    fn path(&self, name: &str) -> String {
        self.directory.path().join(name).display().to_string()
    }

    /// A request through an encrypted connection.
    fn ask(&self, request: &str) -> Reply {
        let authority = fs::read(self.path("page.pem")).unwrap();
        let connector = native_tls::TlsConnector::builder()
            .disable_built_in_roots(true)
            .add_root_certificate(native_tls::Certificate::from_pem(&authority).unwrap())
            .build()
            .unwrap();
        let stream = TcpStream::connect(self.house.address).unwrap();
        let mut stream = connector.connect(NAME, stream).unwrap();
        stream.write_all(request.as_bytes()).unwrap();
        let mut answer = String::new();
        stream.read_to_string(&mut answer).unwrap();
        http::taken_apart(&answer)
    }

    fn command(&self, more: &[&str]) -> crate::command_line::Outcome {
        let url = format!("https://{}", self.house.address);
        let token = self.token.display().to_string();
        lauterd(&[&["status", "--url", &url, "--token-file", &token], more].concat())
    }
}

#[test]
fn a_person_signs_in_through_the_encrypted_connection_alone() {
    let encrypted = Encrypted::new();
    let form = format!("user=anna&password={}", PASSWORD.replace(' ', "+"));
    let reply = encrypted.ask(&format!(
        "POST /sign-in HTTP/1.1\r\nHost: {NAME}\r\nOrigin: https://{NAME}\r\nConnection: close\r\n\
         Content-Type: application/x-www-form-urlencoded\r\nContent-Length: {}\r\n\r\n{form}",
        form.len()
    ));
    assert_eq!(reply.status, 303, "{reply:?}");
    let cookie = reply.header("set-cookie").unwrap();
    assert!(
        cookie.starts_with("__Host-lauterd=") && cookie.ends_with("; Secure"),
        "{cookie}"
    );
    assert!(reply.header("strict-transport-security").is_some());
    // The name of the plain cookie counts for nothing here.
    let plain = cookie.split(';').next().unwrap().replace("__Host-", "");
    let refused = encrypted.ask(&format!(
        "GET /api/v1/tuns HTTP/1.1\r\nHost: {NAME}\r\nCookie: {plain}\r\nConnection: close\r\n\r\n"
    ));
    assert_eq!(refused.status, 401);
}

#[test]
fn plain_http_on_the_encrypted_port_is_told_to_use_https_and_nothing_else() {
    let encrypted = Encrypted::new();
    let address = encrypted.house.address;
    let request = format!("GET /healthz HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\n\r\n");
    let reply = http::raw(address, request.as_bytes());
    assert_eq!(reply.status, 400, "{reply:?}");
    assert!(reply.body.contains("write https://"), "{reply:?}");
    assert_eq!(reply.header("set-cookie"), None);
}

#[test]
fn the_commands_work_over_tls_with_a_token_and_trust_no_strange_certificate() {
    let encrypted = Encrypted::new();
    let authority = encrypted.path("page.pem");
    let done = encrypted.command(&["--ca-file", &authority]);
    assert!(done.done().contains("no brew under way"), "{done:?}");
    let strange = encrypted.command(&[]);
    assert!(strange.failed(69).contains("--ca-file"), "{strange:?}");
    fs::write(&encrypted.token, "lauterd_wrong\n").unwrap();
    let unknown = encrypted.command(&["--ca-file", &authority]);
    assert!(
        unknown.failed(64).contains("lauterd token add"),
        "{unknown:?}"
    );
    fs::write(&encrypted.token, "\n").unwrap();
    encrypted.command(&["--ca-file", &authority]).failed(65);
}

#[test]
fn the_configuration_tells_the_commands_name_and_certificate() {
    let encrypted = Encrypted::new();
    let minimal = include_str!("../../config/minimal.toml");
    let web = format!(
        "{minimal}\n[web]\nlisten = \"{}\"\nhost_name = \"{NAME}\"\ncertificate_file = {:?}\nkey_file = {:?}\n\
         users_file = {:?}\n",
        encrypted.house.address,
        encrypted.path("page.pem"),
        encrypted.path("page.key"),
        encrypted.path("users.toml"),
    );
    let file = encrypted.house.write("tun.toml", &web);
    let token = encrypted.token.display().to_string();
    let arguments = [
        "status",
        "--config",
        file.to_str().unwrap(),
        "--token-file",
        &token,
    ];
    let done = lauterd(&arguments);
    assert!(done.done().contains("no brew under way"), "{done:?}");
}

#[test]
fn a_certificate_that_cannot_serve_is_named_with_its_key() {
    let directory = tempfile::tempdir().unwrap();
    let certificate = write_certificate(directory.path());
    let with = |certificate: &Certificate| {
        let settings = Web {
            users_file: None,
            certificate: Some(certificate.clone()),
            ..web_settings(Path::new("none"))
        };
        Entrance::of(&settings)
    };
    assert!(with(&certificate).is_ok());
    fs::write(
        &certificate.key,
        new_key().private_key_to_pem_pkcs8().unwrap(),
    )
    .unwrap();
    let other = with(&certificate).unwrap_err();
    assert_eq!(other.kind, Kind::Configuration);
    assert!(other.message.contains("another certificate"), "{other}");
    let rsa = new_key().rsa().unwrap().private_key_to_pem().unwrap();
    fs::write(&certificate.key, rsa).unwrap();
    let old_form = with(&certificate).unwrap_err();
    assert!(old_form.message.contains("openssl pkcs8"), "{old_form}");
    fs::remove_file(&certificate.key).unwrap();
    let missing = with(&certificate).unwrap_err();
    assert!(missing.message.contains("page.key"), "{missing}");
}
