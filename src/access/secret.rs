//! Passwords and tokens as they are kept: never themselves.
//!
//! A person's password is hashed with Argon2id, slow and salted. A token has 256 bits of chance in it and cannot be
//! guessed, so a plain digest of it serves, and each request is checked in microseconds.

use std::sync::LazyLock;

use argon2::Argon2;
use argon2::password_hash::phc::PasswordHash;
use argon2::password_hash::{PasswordHasher, PasswordVerifier};
use blake2::{Blake2s256, Digest};

use super::parameters::LONGEST_PASSWORD;

/// The operating system gave no random numbers, or the password cannot be hashed.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("cannot make a secret: {0}")]
pub struct SecretError(String);

/// Told apart at a glance when one lies about.
const TOKEN_PREFIX: &str = "lauterd_";

/// The password as it is kept, with the parameters RFC 9106 and the library advise: 19 MiB, two passes.
pub fn hashed(password: &str) -> Result<String, SecretError> {
    let hash: PasswordHash = Argon2::default()
        .hash_password(password.as_bytes())
        .map_err(|error| SecretError(error.to_string()))?;
    Ok(hash.to_string())
}

/// Whether this is the password behind a hash. Without a hash the same work is done for nothing, so that the time an
/// answer takes does not tell which names there are.
pub fn is_right(password: &str, hash: Option<&str>) -> bool {
    static NOBODY: LazyLock<String> =
        LazyLock::new(|| hashed("nobody's password").unwrap_or_default());
    if password.len() > LONGEST_PASSWORD {
        return false;
    }
    let known = hash.unwrap_or(&NOBODY);
    let right = PasswordHash::new(known).is_ok_and(|known| {
        Argon2::default()
            .verify_password(password.as_bytes(), &known)
            .is_ok()
    });
    right && hash.is_some()
}

/// Whether a hash can be checked against at all.
pub fn is_hash(text: &str) -> bool {
    PasswordHash::new(text).is_ok_and(|hash| hash.algorithm.as_str() == "argon2id")
}

/// A new token, to be shown once.
pub fn new_token() -> Result<String, SecretError> {
    Ok(format!("{TOKEN_PREFIX}{}", random_text()?))
}

/// 256 bits from the operating system, as hexadecimal digits.
pub fn random_text() -> Result<String, SecretError> {
    let mut bytes = [0; 32];
    getrandom::fill(&mut bytes).map_err(|error| SecretError(error.to_string()))?;
    Ok(hexadecimal(&bytes))
}

/// BLAKE2s-256 of a token, as it is kept.
pub fn digest(token: &str) -> String {
    hexadecimal(&Blake2s256::digest(token.as_bytes()))
}

fn hexadecimal(bytes: &[u8]) -> String {
    use std::fmt::Write as _;
    bytes.iter().fold(String::new(), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_password_is_right_only_for_its_own_hash_and_hashes_differ() {
        let (one, other) = (
            hashed("correct horse").unwrap(),
            hashed("correct horse").unwrap(),
        );
        assert_ne!(one, other);
        assert!(one.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"), "{one}");
        assert!(is_hash(&one) && !is_hash("correct horse") && !is_hash(""));
        assert!(is_right("correct horse", Some(&one)));
        for (password, hash) in [
            ("correct hors", Some(one.as_str())),
            ("", Some(one.as_str())),
            ("nobody's password", None),
            ("correct horse", Some("plain text")),
        ] {
            assert!(!is_right(password, hash), "{password} {hash:?}");
        }
        assert!(!is_right(&"x".repeat(LONGEST_PASSWORD + 1), Some(&one)));
    }

    #[test]
    fn a_token_is_new_each_time_and_its_digest_is_the_published_one() {
        assert_ne!(new_token().unwrap(), new_token().unwrap());
        assert_eq!(new_token().unwrap().len(), TOKEN_PREFIX.len() + 64);
        // RFC 7693, appendix B: BLAKE2s-256 of "abc".
        assert_eq!(
            digest("abc"),
            "508c5e8c327c14e2e1a72ba34eeb452f37458b209ed63a294d999b4c86675982"
        );
    }
}
