//! Passwords: hashed with Argon2id (RFC 9106), compared, and made.

use super::{ServiceError, apart};
use argon2::password_hash::phc::PasswordHash;
use argon2::password_hash::{PasswordHasher, PasswordVerifier};
use argon2::{Algorithm, Argon2, Params, Version};
use std::sync::OnceLock;
use tokio::sync::Semaphore;

/// Memory of one computation; the least that OWASP's cheat sheet on password storage asks
/// for (19 MiB with two passes and one lane). MEMORY
const MEMORY_KIB: u32 = 19 * 1024;
const PASSES: u32 = 2;
const LANES: u32 = 1;
/// Computations at a time, so that sign-ins cannot take the memory of the server.
const AT_ONCE: usize = 4;

/// Characters that a chosen password has, at the least and at the most.
pub const LENGTH: std::ops::RangeInclusive<usize> = 12..=128;

/// Letters and digits that are not taken for one another.
const ALPHABET: &[u8; 32] = b"abcdefghjkmnpqrstuvwxyz23456789A";

pub(super) struct Passwords {
    permits: Semaphore,
    /// Compared with where there is no such person, so that this takes as long.
    decoy: OnceLock<String>,
}

impl Default for Passwords {
    fn default() -> Self {
        Passwords {
            permits: Semaphore::new(AT_ONCE),
            decoy: OnceLock::new(),
        }
    }
}

impl Passwords {
    /// The PHC string of a password, with a salt of its own.
    pub async fn hash(&self, password: &str) -> Result<String, ServiceError> {
        let password = password.to_owned();
        self.compute(move || hash_now(&password)).await?
    }

    /// Whether `password` is the one that was hashed; false, as slowly, where there is none.
    pub async fn holds(&self, password: &str, hash: Option<String>) -> Result<bool, ServiceError> {
        let known = hash.is_some();
        let hash = match hash {
            Some(hash) => hash,
            None => self.decoy().await?,
        };
        let password = password.to_owned();
        let same = self
            .compute(move || -> Result<bool, ServiceError> {
                let hash = PasswordHash::new(&hash)
                    .map_err(|e| ServiceError::Internal(format!("stored password hash: {e}")))?;
                Ok(Argon2::default()
                    .verify_password(password.as_bytes(), &hash)
                    .is_ok())
            })
            .await??;
        Ok(same && known)
    }

    async fn decoy(&self) -> Result<String, ServiceError> {
        if let Some(decoy) = self.decoy.get() {
            return Ok(decoy.clone());
        }
        let made = self.hash("nobody has this one").await?;
        Ok(self.decoy.get_or_init(|| made).clone())
    }

    async fn compute<T: Send + 'static>(
        &self,
        work: impl FnOnce() -> T + Send + 'static,
    ) -> Result<T, ServiceError> {
        let _permit = self
            .permits
            .acquire()
            .await
            .map_err(|e| ServiceError::Internal(format!("password: {e}")))?;
        apart("password", work).await
    }
}

fn hash_now(password: &str) -> Result<String, ServiceError> {
    let failed = |e: &dyn std::fmt::Display| ServiceError::Internal(format!("password: {e}"));
    let params = Params::new(MEMORY_KIB, PASSES, LANES, None).map_err(|e| failed(&e))?;
    Argon2::new(Algorithm::Argon2id, Version::V0x13, params)
        .hash_password(password.as_bytes())
        .map(|hash| hash.to_string())
        .map_err(|e| failed(&e))
}

/// A first password: 20 letters and digits in groups of five, 100 random bits.
pub(super) fn first_password() -> Result<String, ServiceError> {
    let random = super::random_secret()?;
    let mut text = String::with_capacity(23);
    for (index, byte) in random.iter().take(20).enumerate() {
        if index > 0 && index % 5 == 0 {
            text.push('-');
        }
        let place = usize::from(byte % 32);
        text.push(char::from(ALPHABET.get(place).copied().unwrap_or(b'a')));
    }
    Ok(text)
}

/// Whether a person may choose this password.
///
/// # Errors
/// `Invalid` with the reason.
pub(super) fn check(field: &str, password: &str, name: &str) -> Result<(), ServiceError> {
    if !LENGTH.contains(&password.chars().count()) {
        return Err(ServiceError::invalid(
            field,
            format!(
                "must have {} to {} characters",
                LENGTH.start(),
                LENGTH.end()
            ),
        ));
    }
    if password.to_lowercase().contains(&name.to_lowercase()) && name.len() > 2 {
        return Err(ServiceError::invalid(
            field,
            "must not hold the name that you sign in with",
        ));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hash_names_argon2id_and_its_parameters_and_holds_no_password() {
        let hash = hash_now("correct horse").unwrap();
        assert!(
            hash.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"),
            "{hash}"
        );
        assert_ne!(hash, hash_now("correct horse").unwrap());
        let parsed = PasswordHash::new(&hash).unwrap();
        let holds = |word: &[u8]| Argon2::default().verify_password(word, &parsed).is_ok();
        assert!(holds(b"correct horse"));
        assert!(!holds(b"correct horsf"));
    }

    /// COMPUTED with the reference implementation in C, through the Python package argon2-cffi:
    /// `hash_secret(b"password", b"somesalt", 2, 65536, 1, 32, Type.ID)`.
    #[test]
    fn a_hash_of_the_reference_implementation_is_understood() {
        let hash = "$argon2id$v=19$m=65536,t=2,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc";
        let parsed = PasswordHash::new(hash).unwrap();
        let holds = |word: &[u8]| Argon2::default().verify_password(word, &parsed).is_ok();
        assert!(holds(b"password"));
        assert!(!holds(b"Password"));
    }

    #[test]
    fn a_first_password_is_long_and_never_the_same() {
        let (one, two) = (first_password().unwrap(), first_password().unwrap());
        assert_eq!(one.len(), 23);
        assert_ne!(one, two);
        assert!(check("password", &one, "ab12").is_ok());
    }

    #[test]
    fn a_chosen_password_is_long_enough_and_not_the_name() {
        assert!(check("password", "eleven char", "ab12").is_err());
        assert!(check("password", "twelve chars", "ab12").is_ok());
        assert!(check("password", "xx-AB12-yyyyy", "ab12").is_err());
        assert!(check("password", &"é".repeat(129), "ab12").is_err());
    }
}
