//! The trace in the words of PROV: the same nodes and the same edges.

use super::example::{example, stated};
use crate::accounting::trace::prov_json;

#[test]
fn every_node_is_an_entity_that_derives_from_its_inputs() {
    let statement = stated(&example());
    let document = prov_json(&statement, "00000000-0000-4000-8000-000000000001");
    let named = |id: &str| format!("st:node/{}", id.replace('.', "%2E").replace(' ', "%20"));
    let derived: Vec<(&str, &str)> = document["wasDerivedFrom"]
        .as_object()
        .unwrap()
        .values()
        .map(|one| {
            let end = |name: &str| one[name].as_str().unwrap();
            (end("prov:generatedEntity"), end("prov:usedEntity"))
        })
        .collect();
    assert!(statement.trace.nodes.len() > 10);
    for node in &statement.trace.nodes {
        let entity = &document["entity"][named(&node.id)];
        assert_eq!(entity["prov:value"], node.value.to_string(), "{}", node.id);
        for input in &node.inputs {
            let edge = (named(&node.id), named(input));
            assert!(derived.contains(&(&edge.0, &edge.1)), "{edge:?}");
        }
    }
    // Whatever is named in a relation is there.
    for (made, from) in derived {
        assert!(document["entity"][made].is_object(), "{made}");
        assert!(document["entity"][from].is_object(), "{from}");
    }
    for batch in statement.evidence.iter().flat_map(|set| &set.batches) {
        assert!(document["entity"][format!("id:{}", batch.id)].is_object());
    }
}
