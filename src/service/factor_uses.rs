//! Where a factor is used: the methodologies that name it and the nodes of statements that read it.

use super::{Caller, Service, ServiceError};
use crate::accounting::factor::FactorId;
use crate::accounting::trace::Source;
use serde_json::Value;
use uuid::Uuid;

/// One statement that reads a factor.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StatementUse {
    pub statement: Uuid,
    pub period: String,
    pub methodology: String,
    /// Id and label of each node.
    pub nodes: Vec<(String, String)>,
}

#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct FactorUses {
    /// `code@version` of those that name it. One that is chosen by species, device and fuel is
    /// found in the statements alone.
    pub methodologies: Vec<String>,
    /// The latest first; none for a caller who is bound to sites.
    pub statements: Vec<StatementUse>,
}

/// Statements that are looked through, the latest ones.
const STATEMENTS_MAX: usize = 20;

impl Service {
    pub async fn factor_uses(
        &self,
        caller: &Caller,
        id: &FactorId,
    ) -> Result<FactorUses, ServiceError> {
        let name = id.to_string();
        let mut uses = FactorUses::default();
        for methodology in self.methodologies(caller).await? {
            let written = serde_json::to_value(&methodology)
                .map_err(|e| ServiceError::Internal(format!("methodology: {e}")))?;
            if names(&written, &name) {
                uses.methodologies.push(methodology.id());
            }
        }
        if caller.sites.is_some() {
            return Ok(uses);
        }
        for view in self
            .statements(caller)
            .await?
            .into_iter()
            .take(STATEMENTS_MAX)
        {
            let (view, statement) = self.statement(caller, view.id).await?;
            let reads =
                |source: &Source| matches!(source, Source::Factor { id: read } if read == id);
            let nodes: Vec<(String, String)> = statement
                .trace
                .nodes
                .into_iter()
                .filter(|node| reads(&node.source))
                .map(|node| (node.id, node.label))
                .collect();
            if !nodes.is_empty() {
                uses.statements.push(StatementUse {
                    statement: view.id,
                    period: view.period,
                    methodology: view.methodology,
                    nodes,
                });
            }
        }
        Ok(uses)
    }
}

/// Whether the text stands anywhere in the value.
fn names(value: &Value, text: &str) -> bool {
    match value {
        Value::String(own) => own == text,
        Value::Array(list) => list.iter().any(|each| names(each, text)),
        Value::Object(fields) => fields.values().any(|each| names(each, text)),
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn a_factor_is_found_at_any_depth_and_by_its_whole_name() {
        let methodology = json!({"fuels": [{"rule": {"share": "fnrb@1"}}], "grace_days": 3});
        assert!(names(&methodology, "fnrb@1"));
        assert!(!names(&methodology, "fnrb@11") && !names(&methodology, "fnrb"));
    }
}
