//! The signed heads in a bag: the one over all of it, and those that witnesses cosigned.

use super::super::trail::{cosigned_notes, key_chain};
use super::super::{Caller, Service, ServiceError};
use super::{disk, put, write_line};
use crate::trail::bag::BagWriter;
use crate::trail::canonical::canonical_of;
use crate::verify::layout;
use serde_json::json;

impl Service {
    /// Writes the signed head, the keys of the log, and the cosigned checkpoints.
    pub(super) async fn write_head(
        &self,
        caller: &Caller,
        position: u64,
        bag: &mut BagWriter,
    ) -> Result<(), ServiceError> {
        let mut transaction = self.changing(caller).await?;
        let note = self
            .checkpoint_at(&mut transaction, caller, position)
            .await?;
        let chain = key_chain(&mut transaction, caller.programme_id).await?;
        let cosigned = cosigned_notes(&mut transaction, caller.programme_id, position).await?;
        transaction.commit().await?;
        put(bag, layout::CHECKPOINT, note.as_bytes())?;
        // A change that came after the position is none of this bag's.
        let keys: String = chain
            .keys()
            .take(chain.keys_at(position))
            .map(|key| format!("{key}\n"))
            .collect();
        put(bag, layout::CHECKPOINT_KEY, keys.as_bytes())?;
        if cosigned.is_empty() {
            return Ok(());
        }
        let mut file = bag.payload(layout::COSIGNED).map_err(disk)?;
        for (size, note) in cosigned {
            let line = canonical_of(&json!({"size": size, "note": note}))
                .map_err(|e| ServiceError::Internal(format!("export: {e}")))?;
            write_line(&mut file, &line)?;
        }
        file.finish().map_err(disk)?;
        Ok(())
    }
}
