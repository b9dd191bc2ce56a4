//! The proof of one figure of a statement: the statement, the factors and the batches that
//! it was made of, each with its path to a signed head, and the hash of every row.

use super::super::{Caller, Service, ServiceError};
use super::records::proved_entry;
use crate::accounting::statement::Statement;
use crate::accounting::trace::Source;
use crate::intake::BatchKind;
use crate::store;
use crate::verify::proof::{Proof, ProvedBatch, ProvedFigure, ancestors};
use sqlx::PgConnection;
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

impl Service {
    /// Proves a figure down to the hashes of the rows behind it.
    ///
    /// # Errors
    /// `NotFound` where there is no such statement, or it has no such figure.
    pub async fn figure_proof(
        &self,
        caller: &Caller,
        statement_id: Uuid,
        figure: &str,
        size: Option<u64>,
    ) -> Result<Proof, ServiceError> {
        caller.must_see_every_site()?;
        let (view, statement) = self.statement(caller, statement_id).await?;
        let named = statement
            .figure(figure)
            .ok_or_else(|| ServiceError::not_found("figure", figure))?;
        let nodes = ancestors(&statement.trace, &named.node)
            .map_err(|e| ServiceError::Internal(format!("statement {statement_id}: {e}")))?;
        let mut transaction = self.changing(caller).await?;
        let connection = &mut *transaction;
        let size = self.known_size(connection, caller, size).await?;
        if view.sequence >= size {
            return Err(ServiceError::not_found("statement", statement_id));
        }
        let key = format!("{statement_id}/{figure}");
        let mut proof = self
            .proof_at(connection, caller, size, "figure", &key)
            .await?;
        let behind = Behind::of(&statement, &nodes);
        let factors = factors(connection, caller, &behind).await?;
        let batches = batches(connection, caller, &behind).await?;
        let sequences: BTreeSet<u64> = std::iter::once(view.sequence)
            .chain(factors.values().copied())
            .chain(batches.iter().map(|batch| batch.sequence))
            .collect();
        for sequence in sequences {
            let found = store::trail::entries(connection, caller.programme_id, sequence, 1).await?;
            for entry in found {
                let proved = proved_entry(connection, caller, entry, size).await?;
                proof.entries.push(proved);
            }
        }
        transaction.commit().await?;
        proof.figure = Some(ProvedFigure {
            sequence: view.sequence,
            figure: figure.to_owned(),
            nodes,
            factors,
            batches,
        });
        Ok(proof)
    }
}

/// What the nodes of a figure were taken from.
struct Behind {
    factors: BTreeSet<String>,
    batches: BTreeSet<Uuid>,
}

impl Behind {
    fn of(statement: &Statement, nodes: &[String]) -> Self {
        let named: BTreeSet<&str> = nodes.iter().map(String::as_str).collect();
        let mut factors = BTreeSet::new();
        let mut roles = BTreeSet::new();
        for node in &statement.trace.nodes {
            match &node.source {
                _ if !named.contains(node.id.as_str()) => {}
                Source::Factor { id } => {
                    factors.insert(id.to_string());
                }
                Source::Evidence { role, .. } => {
                    roles.insert(*role);
                }
                Source::None => {}
            }
        }
        let sets = statement.evidence.iter();
        let sets = sets.filter(|set| roles.contains(&set.role));
        Behind {
            factors,
            batches: sets.flat_map(|set| &set.batches).map(|b| b.id).collect(),
        }
    }
}

async fn factors(
    connection: &mut PgConnection,
    caller: &Caller,
    behind: &Behind,
) -> Result<BTreeMap<String, u64>, ServiceError> {
    let mut factors = BTreeMap::new();
    for name in &behind.factors {
        let missing = || ServiceError::Internal(format!("factor {name} is not in the library"));
        let id = name.parse().map_err(|_| missing())?;
        let sequence =
            store::library::sequence_of_factor(connection, caller.programme_id, &id).await?;
        factors.insert(name.clone(), sequence.ok_or_else(missing)?);
    }
    Ok(factors)
}

async fn batches(
    connection: &mut PgConnection,
    caller: &Caller,
    behind: &Behind,
) -> Result<Vec<ProvedBatch>, ServiceError> {
    let mut batches = Vec::new();
    for id in &behind.batches {
        let row = store::batches::by_id(connection, caller.programme_id, *id)
            .await?
            .ok_or_else(|| ServiceError::Internal(format!("batch {id} is not there")))?;
        let kind: BatchKind = row
            .record
            .kind
            .parse()
            .map_err(|e| ServiceError::Internal(format!("{e}")))?;
        let hashes =
            store::rows::hashes_of_batch(connection, caller.programme_id, kind, *id).await?;
        batches.push(ProvedBatch {
            id: *id,
            sequence: row.sequence,
            row_hashes: hashes.iter().map(|(_, hash)| hash.to_string()).collect(),
        });
    }
    Ok(batches)
}
