//! Tokens that the database knew a moment ago. Whoever sends many requests is not looked
//! up for each of them: that would cost a small read more than the read itself.
//!
//! Only what was found is kept, under the hash of the secret, and for so short a time
//! that a token taken out of the database is as good as gone at once.

use super::Caller;
use std::collections::HashMap;
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};
use uuid::Uuid;

/// How long a token is not looked up again.
const TRUSTED_FOR: Duration = Duration::from_secs(2);

/// Tokens kept at the most.
const KEPT_MAX: usize = 1_000;

/// Programme, and hash of the secret.
pub(super) type TokenKey = (Uuid, [u8; 32]);

#[derive(Default)]
pub(super) struct KnownTokens(Mutex<HashMap<TokenKey, Known>>);

struct Known {
    since: Instant,
    caller: Caller,
}

impl KnownTokens {
    /// Who the token belongs to, where that was found out a moment before `now`.
    pub fn find(&self, key: &TokenKey, now: Instant) -> Option<Caller> {
        let known = self.lock();
        let known = known.get(key)?;
        known.is_fresh(now).then(|| known.caller.clone())
    }

    pub fn keep(&self, key: TokenKey, caller: &Caller, now: Instant) {
        let mut known = self.lock();
        if known.len() >= KEPT_MAX {
            known.retain(|_, one| one.is_fresh(now));
        }
        if known.len() < KEPT_MAX {
            let caller = caller.clone();
            known.insert(key, Known { since: now, caller });
        }
    }

    fn lock(&self) -> MutexGuard<'_, HashMap<TokenKey, Known>> {
        // Nothing in here is left half done by a panic.
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Known {
    fn is_fresh(&self, now: Instant) -> bool {
        now.saturating_duration_since(self.since) < TRUSTED_FOR
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::service::Role;

    fn caller(label: &str) -> Caller {
        Caller {
            programme_id: Uuid::nil(),
            programme_code: "isles".into(),
            programme_name: "Isles".into(),
            token_id: Uuid::nil(),
            role: Role::Verifier,
            label: label.into(),
        }
    }

    fn key(number: usize) -> TokenKey {
        let mut hash = [0; 32];
        hash[..8].copy_from_slice(&number.to_le_bytes());
        (Uuid::nil(), hash)
    }

    #[test]
    fn a_token_is_known_for_a_moment_and_only_itself() {
        let (known, now) = (KnownTokens::default(), Instant::now());
        known.keep(key(1), &caller("one"), now);
        let found = |key: TokenKey, at| known.find(&key, at).map(|caller| caller.label);
        assert_eq!(found(key(1), now).as_deref(), Some("one"));
        assert_eq!(found(key(2), now), None);
        assert_eq!(found((Uuid::max(), key(1).1), now), None);
        let last = now + TRUSTED_FOR - Duration::from_millis(1);
        assert!(found(key(1), last).is_some());
        assert_eq!(found(key(1), now + TRUSTED_FOR), None);
        known.keep(key(1), &caller("again"), now + TRUSTED_FOR);
        assert_eq!(found(key(1), now + TRUSTED_FOR).as_deref(), Some("again"));
    }

    #[test]
    fn no_more_are_kept_than_the_bound_and_stale_ones_make_room() {
        let (known, now) = (KnownTokens::default(), Instant::now());
        for number in 0..KEPT_MAX + 10 {
            known.keep(key(number), &caller("many"), now);
        }
        assert_eq!(known.lock().len(), KEPT_MAX);
        assert!(known.find(&key(KEPT_MAX + 5), now).is_none());
        let later = now + TRUSTED_FOR;
        known.keep(key(KEPT_MAX + 5), &caller("late"), later);
        assert_eq!(known.lock().len(), 1);
    }
}
