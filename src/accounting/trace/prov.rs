//! The trace of a statement as W3C PROV-JSON (Member Submission of 24 April 2013): the same
//! graph in the words that tools for provenance know.
//!
//! Nodes, figures, factors, batches and the methodology are entities; the computation is one
//! activity of the program, on behalf of the programme. Names are made of UUIDs alone, so that no
//! address of a server is in them. There is no time in it: a statement knows no clock.

use super::{Node, Source};
use crate::accounting::inputs::{EvidenceRole, EvidenceSet};
use crate::accounting::statement::Statement;
use serde_json::{Map, Value, json};

/// The activity that computed everything.
const COMPUTING: &str = "st:computing";

/// The document; `id` is the statement's.
pub fn prov_json(statement: &Statement, id: &str) -> Value {
    let mut document = Document::default();
    document.agents(statement);
    document.statement(statement);
    for set in &statement.evidence {
        document.evidence(set);
    }
    for node in &statement.trace.nodes {
        document.node(node);
    }
    for figure in &statement.figures {
        let name = format!("st:figure/{}", local(&figure.id));
        document.entity(
            &name,
            json!({
                "prov:type": "figure", "prov:label": figure.label, "st:unit": figure.unit,
                "prov:value": figure.value.to_string(), "st:lower": figure.lower.to_string(),
                "st:upper": figure.upper.to_string(),
                "st:confidence": figure.confidence.to_string(),
            }),
        );
        document.derive(&name, &node_name(&figure.node));
        document.generate(&name);
        document.relate(
            "hadMember",
            "prov:collection",
            "st:statement",
            "prov:entity",
            &name,
        );
    }
    document.finish(statement, id)
}

/// The maps of a document, each from a name to its attributes.
#[derive(Default)]
struct Document {
    entities: Map<String, Value>,
    agents: Map<String, Value>,
    relations: Map<String, Value>,
    count: u64,
}

impl Document {
    fn agents(&mut self, statement: &Statement) {
        let version = &statement.program_version;
        self.agents.insert(
            "st:program".to_owned(),
            json!({"prov:type": "prov:SoftwareAgent", "prov:label": format!("emberbook {version}"),
                   "st:version": version}),
        );
        self.agents.insert(
            "pr:programme".to_owned(),
            json!({"prov:type": "prov:Organization", "prov:label": statement.programme.name,
                   "pr:code": statement.programme.code}),
        );
        self.relate(
            "actedOnBehalfOf",
            "prov:delegate",
            "st:program",
            "prov:responsible",
            "pr:programme",
        );
    }

    fn statement(&mut self, statement: &Statement) {
        let period = &statement.period;
        self.entity(
            "st:statement",
            json!({
                "prov:type": "prov:Collection",
                "prov:label": format!("Statement of {}", period.code),
                "st:starts_on": period.starts_on.to_string(),
                "st:ends_on": period.ends_on.to_string(),
                "st:position": statement.position.to_string(),
                "st:rounding": statement.rounding,
            }),
        );
        let chosen = &statement.methodology;
        let methodology = format!(
            "pr:methodology/{}",
            local(&format!("{}@{}", chosen.code, chosen.version))
        );
        self.entity(
            &methodology,
            json!({"prov:type": "prov:Plan", "prov:label": chosen.title}),
        );
        self.use_of(&methodology);
        self.generate("st:statement");
        self.relate(
            "wasAttributedTo",
            "prov:entity",
            "st:statement",
            "prov:agent",
            "pr:programme",
        );
        self.add(
            "wasAssociatedWith",
            json!({"prov:activity": COMPUTING, "prov:agent": "st:program", "prov:plan": methodology}),
        );
    }

    /// The rows behind one kind of input: a collection of batches.
    fn evidence(&mut self, set: &EvidenceSet) {
        let name = evidence_name(set.role);
        let rounds = set.rounds.join(" ");
        self.entity(
            &name,
            json!({"prov:type": "prov:Collection", "prov:label": format!("Evidence: {}", role(set.role)),
                   "st:rounds": rounds}),
        );
        self.use_of(&name);
        for batch in &set.batches {
            let member = format!("id:{}", batch.id);
            self.entity(
                &member,
                json!({"prov:type": "batch", "st:rows": batch.rows.to_string(), "st:root": batch.root}),
            );
            self.relate(
                "hadMember",
                "prov:collection",
                &name,
                "prov:entity",
                &member,
            );
        }
    }

    fn node(&mut self, node: &Node) {
        let name = node_name(&node.id);
        let mut attributes = json!({
            "prov:type": "node", "prov:label": node.label, "st:unit": node.unit,
            "prov:value": node.value.to_string(),
            "st:standard_error": node.standard_error.to_string(),
            "st:lower": node.lower.to_string(), "st:upper": node.upper.to_string(),
            "st:formula": node.formula.id,
        });
        if let Some(degrees) = node.degrees_of_freedom {
            attributes["st:degrees_of_freedom"] = json!(degrees.to_string());
        }
        match &node.source {
            Source::None => {}
            Source::Factor { id } => {
                let factor = format!("pr:factor/{}", local(&id.to_string()));
                self.entity(
                    &factor,
                    json!({"prov:type": "factor", "prov:label": id.to_string()}),
                );
                self.use_of(&factor);
                self.derive(&name, &factor);
            }
            Source::Evidence { role, at, units } => {
                attributes["st:units"] = json!(units.to_string());
                for (key, value) in at {
                    attributes[format!("st:where_{}", local(key))] = json!(value);
                }
                let evidence = evidence_name(*role);
                self.entity(&evidence, json!({"prov:type": "prov:Collection"}));
                self.derive(&name, &evidence);
            }
        }
        self.entity(&name, attributes);
        self.generate(&name);
        for input in &node.inputs {
            self.derive(&name, &node_name(input));
        }
    }

    /// Enters an entity; what was said of it first stands.
    fn entity(&mut self, name: &str, attributes: Value) {
        self.entities.entry(name).or_insert(attributes);
    }

    fn use_of(&mut self, entity: &str) {
        self.relate("used", "prov:activity", COMPUTING, "prov:entity", entity);
    }

    fn generate(&mut self, entity: &str) {
        self.relate(
            "wasGeneratedBy",
            "prov:entity",
            entity,
            "prov:activity",
            COMPUTING,
        );
    }

    fn derive(&mut self, made: &str, from: &str) {
        self.add(
            "wasDerivedFrom",
            json!({"prov:generatedEntity": made, "prov:usedEntity": from, "prov:activity": COMPUTING}),
        );
    }

    fn relate(&mut self, relation: &str, role: &str, one: &str, other_role: &str, other: &str) {
        self.add(relation, json!({role: one, other_role: other}));
    }

    /// Enters a relation under a blank name.
    fn add(&mut self, relation: &str, attributes: Value) {
        self.count += 1;
        let of_kind = self.relations.entry(relation).or_insert_with(|| json!({}));
        of_kind[format!("_:r{}", self.count)] = attributes;
    }

    fn finish(self, statement: &Statement, id: &str) -> Value {
        let mut document = json!({
            "prefix": {
                "st": format!("urn:uuid:{id}#"),
                "pr": format!("urn:uuid:{}#", statement.programme.id),
                "id": "urn:uuid:",
            },
            "entity": self.entities,
            "activity": {
                COMPUTING: {"prov:type": "computation", "prov:label": "Computing the statement"},
            },
            "agent": self.agents,
        });
        if let Some(members) = document.as_object_mut() {
            members.extend(self.relations);
        }
        document
    }
}

fn node_name(id: &str) -> String {
    format!("st:node/{}", local(id))
}

fn evidence_name(of: EvidenceRole) -> String {
    format!("st:evidence/{}", role(of))
}

fn role(of: EvidenceRole) -> String {
    let name = serde_json::to_value(of).unwrap_or_default();
    name.as_str().unwrap_or_default().to_owned()
}

/// A text as the local part of a qualified name: what PROV-N does not take as it is, is written
/// in percent form.
fn local(text: &str) -> String {
    let mut name = String::new();
    for byte in text.bytes() {
        if byte.is_ascii_alphanumeric() || b"_-/@".contains(&byte) {
            name.push(char::from(byte));
        } else {
            name.push_str(&format!("%{byte:02X}"));
        }
    }
    name
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_hold_only_what_prov_n_takes() {
        assert_eq!(local("co2e/a.b c@1"), "co2e/a%2Eb%20c@1");
        assert_eq!(node_name("fuel/saved"), "st:node/fuel/saved");
    }
}
