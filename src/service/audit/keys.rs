//! The keys that the trail names, of the log and of its witnesses, and what they signed.

use super::expected::Told;
use super::walk::{CHECKPOINT, KEPT, Walk};
use crate::accounting::records::ProgrammeRecord;
use crate::accounting::records::log_keys::{LogKeyChangedRecord, WitnessRecord, kind};
use crate::service::ServiceError;
use crate::store;
use crate::trail::checkpoint::Checkpoint;
use crate::trail::cosignature::WitnessKey;
use crate::trail::key_change::KeyChain;
use crate::trail::merkle::Hash;
use crate::trail::note::{NoteError, VerifierKey};
use serde_json::{Map, Value};
use sqlx::PgConnection;
use uuid::Uuid;

pub(super) const COSIGNATURE: &str = "cosignature";

/// Columns of a cosignature, without its programme.
const COSIGNATURE_COLUMNS: usize = 6;

/// Keys that sign for a log.
#[derive(Debug, Default)]
pub(super) struct Keys {
    /// Of the log itself; absent where no first entry names one.
    chain: Option<KeyChain>,
    witnesses: Vec<WitnessKey>,
}

impl Keys {
    /// What the entries about keys say, read ahead of the walk: a head may be signed by a key,
    /// and cosigned by a witness, that the trail names only later. A change is followed on the
    /// word of both its signatures; the walk checks each in its place, and tells what is wrong.
    pub async fn ahead(
        connection: &mut PgConnection,
        programme: Uuid,
    ) -> Result<Self, ServiceError> {
        let mut keys = Keys::default();
        let kinds = [kind::LOG_KEY_CHANGED, kind::WITNESS_REGISTERED];
        for content in store::audit::first_and_of_kinds(connection, programme, &kinds).await? {
            if let Ok(r) = serde_json::from_slice::<ProgrammeRecord>(&content) {
                keys.begin(&r.checkpoint_key);
            } else if let Ok(r) = serde_json::from_slice::<LogKeyChangedRecord>(&content) {
                let _told_by_the_walk = keys.chain.as_mut().map(|chain| chain.follow(&r.note));
            } else if let Ok(r) = serde_json::from_slice::<WitnessRecord>(&content) {
                let _told_by_the_walk = keys.register(&r.key);
            }
        }
        Ok(keys)
    }

    pub fn begin(&mut self, checkpoint_key: &str) {
        self.chain = checkpoint_key.parse().ok().map(KeyChain::new);
    }

    /// True for entries that [`Keys::take`] reads.
    pub fn know(kind: &str) -> bool {
        [kind::LOG_KEY_CHANGED, kind::WITNESS_REGISTERED].contains(&kind)
    }

    /// Takes an entry about keys in its place, where `before` is the root just before it.
    ///
    /// # Errors
    /// A sentence where it may not stand there.
    pub fn take(&mut self, told: &Told<'_>, before: Hash) -> Result<(), String> {
        if told.kind == kind::WITNESS_REGISTERED {
            let r: WitnessRecord = super::expected::read(told.content)?;
            return self.register(&r.key);
        }
        let r: LogKeyChangedRecord = super::expected::read(told.content)?;
        let chain = self.chain.as_mut();
        let chain = chain.ok_or("a key is changed before the trail names one")?;
        let old = chain.current().to_string();
        let taken = chain.take(&r.note, told.sequence, before);
        taken.map_err(|error| error.to_string())?;
        if (r.old_key, r.new_key) != (old, chain.current().to_string()) {
            return Err("it names other keys than its signed note".into());
        }
        Ok(())
    }

    fn register(&mut self, key: &str) -> Result<(), String> {
        let key: WitnessKey = key.parse().map_err(|e: NoteError| e.to_string())?;
        if self.witnesses.iter().any(|each| each.name() == key.name()) {
            return Err(format!("{} is registered a second time", key.name()));
        }
        self.witnesses.push(key);
        Ok(())
    }

    /// Opens a head that the log signed.
    ///
    /// # Errors
    /// A sentence where no key of the log signed it that was in force there.
    fn open(&self, note: &str) -> Result<Checkpoint, String> {
        let chain = self.chain.as_ref().ok_or("the trail names no key")?;
        let opened = chain.open(note).map_err(|error| error.to_string());
        opened.map(|(head, _)| head)
    }

    /// Whether the log was ever signed with this key.
    fn has(&self, key: &VerifierKey) -> bool {
        let chain = self.chain.as_ref();
        chain.is_some_and(|chain| chain.keys().any(|each| each == key))
    }

    /// What is wrong with a cosignature over the head of this size and root.
    fn cosigned_wrongly(
        &self,
        row: &Map<String, Value>,
        size: u64,
        root: Hash,
    ) -> Result<(), String> {
        let text = |column: &str| row.get(column).and_then(Value::as_str).unwrap_or_default();
        let chain = self.chain.as_ref().ok_or("the trail names no key")?;
        let witness = self
            .witnesses
            .iter()
            .find(|each| each.to_string() == text("witness"))
            .ok_or("its witness is not one that the trail registers")?;
        let head = Checkpoint {
            origin: chain.current().name().to_owned(),
            size,
            root,
        };
        let time = witness
            .check(&head.to_text(), text("line"))
            .map_err(|error| format!("line: {error}"))?;
        if row.get("time").and_then(Value::as_u64) != Some(time) {
            return Err(format!("time is not {time}, which its line signs"));
        }
        if row.len() != COSIGNATURE_COLUMNS {
            return Err("this audit does not know all of its columns".into());
        }
        Ok(())
    }
}

impl Walk<'_> {
    /// Takes the first entry's key, and looks whether the auditor's is the log's.
    pub(super) fn begin_keys(&mut self) {
        if let Some(programme) = &self.known.programme {
            self.walked.begin(&programme.checkpoint_key);
        }
        if let Some(key) = &self.options.key
            && !self.keys.has(key)
        {
            let problem = "the trail was never signed by the key that you brought";
            self.fault(CHECKPOINT, "", problem);
        }
        let Some(kept) = &self.options.kept_checkpoint else {
            return;
        };
        match self.keys.open(kept) {
            Ok(kept) => self.kept = Some(kept),
            Err(error) => self.fault(KEPT, "", error),
        }
    }

    /// Checks the signed heads over the entries so far.
    pub(super) fn check_heads(&mut self, rows: Vec<Map<String, Value>>) {
        self.head_here = !rows.is_empty();
        let size = self.tree.size();
        for row in rows {
            let note = row.get("note").and_then(Value::as_str).unwrap_or_default();
            let problem = match self.keys.open(note) {
                Err(error) => format!("note: {error}"),
                Ok(head) if head.size != size => {
                    format!("note is over {} entries", head.size)
                }
                Ok(head) if head.root != self.tree.root() && !self.broken => {
                    "the entries do not hash to its root: history was changed".to_owned()
                }
                Ok(_) if row.len() != 2 => "this audit does not know all of its columns".to_owned(),
                Ok(_) => {
                    self.signed_heads += 1;
                    continue;
                }
            };
            self.fault(CHECKPOINT, size, problem);
        }
    }

    /// Checks the cosignatures over the entries so far; their head must be there.
    pub(super) fn check_cosignatures(&mut self, rows: Vec<Map<String, Value>>) {
        let (size, root) = (self.tree.size(), self.tree.root());
        if !rows.is_empty() && !self.head_here {
            let problem = "the head that a witness cosigned is missing";
            self.fault(CHECKPOINT, size, problem);
        }
        for row in rows {
            let witness = row.get("witness").and_then(Value::as_str);
            let key = format!("{size}/{}", witness.unwrap_or_default());
            match self.keys.cosigned_wrongly(&row, size, root) {
                _ if self.broken => {}
                Ok(()) => self.cosignatures += 1,
                Err(problem) => self.fault(COSIGNATURE, key, problem),
            }
        }
    }

    pub(super) fn check_kept(&mut self) {
        let size = self.tree.size();
        if let Some(kept) = &self.kept
            && kept.size == size
        {
            let same = kept.root == self.tree.root();
            self.kept = None;
            if !same {
                let problem = format!(
                    "the first {size} entries are not those it signed: history was changed"
                );
                self.fault(KEPT, "", problem);
            }
        }
    }
}
