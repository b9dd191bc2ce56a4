//! How what the field measured is spread.

use super::{Caller, Service, ServiceError};
use crate::store;

pub use crate::store::measured::{Measure, Spread};

impl Service {
    /// The groups of each measure, of the caller's own sites; measures without values are left
    /// out.
    pub async fn measured(
        &self,
        caller: &Caller,
    ) -> Result<Vec<(Measure, Vec<Spread>)>, ServiceError> {
        let mut connection = self.reading(caller).await?;
        let position = store::trail::size(&mut connection, caller.programme_id).await?;
        let mut measured = Vec::new();
        for measure in Measure::ALL {
            let spreads = store::measured::spreads(
                &mut connection,
                caller.programme_id,
                position,
                caller.sites.as_deref(),
                measure,
            )
            .await?;
            if !spreads.is_empty() {
                measured.push((measure, spreads));
            }
        }
        Ok(measured)
    }
}
