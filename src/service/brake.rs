//! The brake on guessing: how often a sign-in may fail.
//!
//! Kept in memory: a restart forgets it, and several servers on one database each keep
//! their own. Every try counts until it has proved right, so that tries at the same
//! moment are braked too.

use chrono::{DateTime, Duration, Utc};
use std::collections::HashMap;
use std::net::IpAddr;
use std::sync::{Mutex, PoisonError};

/// Failed tries at one account before the next ones wait.
pub const TRIES_AN_ACCOUNT: u32 = 5;
/// Failed tries from one address before the next ones wait.
pub const TRIES_AN_ADDRESS: u32 = 30;
/// Minutes from the first of the failed tries until they are forgotten.
pub const WINDOW_MINUTES: i64 = 15;
/// Accounts and addresses remembered at the most.
const REMEMBERED_MAX: usize = 10_000;

#[derive(Debug, Clone, PartialEq, Eq, Hash)]
enum Key {
    Account(String),
    Address(IpAddr),
}

#[derive(Debug, Clone, Copy)]
struct Tries {
    since: DateTime<Utc>,
    count: u32,
}

#[derive(Debug, Default)]
pub(super) struct Brake {
    tries: Mutex<HashMap<Key, Tries>>,
}

/// Who tries to come in: an account where one is named, an address where one is known.
#[derive(Debug, Clone)]
pub(super) struct Try {
    keys: Vec<(Key, u32)>,
}

impl Try {
    pub fn new(account: Option<String>, address: Option<IpAddr>) -> Self {
        let account = account.map(|name| (Key::Account(name), TRIES_AN_ACCOUNT));
        let address = address.map(|address| (Key::Address(address), TRIES_AN_ADDRESS));
        Try {
            keys: account.into_iter().chain(address).collect(),
        }
    }
}

impl Brake {
    /// Counts a try.
    ///
    /// # Errors
    /// The seconds to wait, where there were too many.
    pub fn count(&self, tried: &Try, now: DateTime<Utc>) -> Result<(), u64> {
        let window = Duration::minutes(WINDOW_MINUTES);
        let mut known = self.tries.lock().unwrap_or_else(PoisonError::into_inner);
        let wait = tried
            .keys
            .iter()
            .filter_map(|(key, limit)| {
                let tries = known.get(key)?;
                let left = (tries.since + window - now).num_seconds();
                (tries.count >= *limit && left > 0).then_some(left)
            })
            .max();
        if let Some(left) = wait {
            return Err(left.unsigned_abs());
        }
        for (key, _) in &tried.keys {
            make_room(&mut known, now - window);
            let tries = known.entry(key.clone()).or_insert(Tries {
                since: now,
                count: 0,
            });
            if tries.since + window <= now {
                *tries = Tries {
                    since: now,
                    count: 0,
                };
            }
            tries.count = tries.count.saturating_add(1);
        }
        Ok(())
    }

    /// Takes a counted try back, for it was right. The account's failures are forgotten.
    pub fn right(&self, tried: &Try) {
        let mut known = self.tries.lock().unwrap_or_else(PoisonError::into_inner);
        for (key, _) in &tried.keys {
            match key {
                Key::Account(_) => {
                    known.remove(key);
                }
                Key::Address(_) => {
                    if let Some(tries) = known.get_mut(key) {
                        tries.count = tries.count.saturating_sub(1);
                    }
                }
            }
        }
    }
}

fn make_room(known: &mut HashMap<Key, Tries>, old: DateTime<Utc>) {
    if known.len() < REMEMBERED_MAX {
        return;
    }
    known.retain(|_, tries| tries.since > old);
    if known.len() >= REMEMBERED_MAX {
        let oldest = known
            .iter()
            .min_by_key(|(_, tries)| tries.since)
            .map(|(key, _)| key.clone());
        if let Some(oldest) = oldest {
            known.remove(&oldest);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(second: i64) -> DateTime<Utc> {
        DateTime::from_timestamp(1_770_000_000 + second, 0).unwrap()
    }

    fn account(name: &str) -> Try {
        Try::new(Some(name.to_owned()), None)
    }

    #[test]
    fn the_sixth_try_at_an_account_waits_for_the_rest_of_the_window() {
        let brake = Brake::default();
        for second in 0..5 {
            assert_eq!(brake.count(&account("a"), at(second)), Ok(()));
        }
        assert_eq!(brake.count(&account("a"), at(60)), Err(840));
        assert_eq!(brake.count(&account("b"), at(60)), Ok(()));
        assert_eq!(brake.count(&account("a"), at(899)), Err(1));
        assert_eq!(brake.count(&account("a"), at(900)), Ok(()));
    }

    #[test]
    fn a_right_try_forgets_the_account_but_not_what_the_address_did() {
        let brake = Brake::default();
        let address: IpAddr = "192.0.2.7".parse().unwrap();
        let from = |name: &str| Try::new(Some(name.to_owned()), Some(address));
        for number in 0..29 {
            assert_eq!(brake.count(&from(&format!("p{number}")), at(0)), Ok(()));
        }
        let own = from("own");
        assert_eq!(brake.count(&own, at(1)), Ok(()));
        assert!(brake.count(&from("next"), at(1)).is_err());
        brake.right(&own);
        assert_eq!(brake.count(&from("next"), at(1)), Ok(()));
        assert!(brake.count(&from("after"), at(1)).is_err());
    }

    #[test]
    fn what_is_remembered_is_bounded() {
        let brake = Brake::default();
        for number in 0..REMEMBERED_MAX + 500 {
            let second = i64::try_from(number / 100).unwrap();
            assert_eq!(
                brake.count(&account(&number.to_string()), at(second)),
                Ok(())
            );
        }
        assert!(brake.tries.lock().unwrap().len() <= REMEMBERED_MAX);
    }
}
