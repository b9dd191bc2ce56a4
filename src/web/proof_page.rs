//! The proof of any record: its entries, their paths, the checkpoint, with a script that
//! checks it on the page and commands that check it in a shell.

use super::page::{QueryParts, Section, Shell, download, draw};
use super::proof::{checkpoint_commands, climb, climb_commands, content_command, entry_commands};
use super::refusal::Refusal;
use super::session::Visitor;
use super::trail_words::{Names, Told, told};
use super::{assets, links, words};
use crate::service::trail::{InclusionProof, ProofRequest, RecordKind};
use crate::service::{Caller, Service};
use crate::trail::key_change::KeyChange;
use crate::verify::proof::{Proof, ProvedEntry};
use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;
use uuid::Uuid;

/// A longer content is in the proof's JSON alone.
const READABLE_BYTES: usize = 4096;

#[derive(Template)]
#[template(path = "proof_page.html")]
struct ProofPage {
    shell: Shell,
    script: String,
    title: String,
    size: String,
    entries: Vec<EntryPart>,
    row: Option<RowPart>,
    figures: Vec<FigureLink>,
    checkpoint: String,
    key: String,
    signature_commands: String,
    json: String,
    json_href: String,
    file_href: Option<String>,
}

struct EntryPart {
    sequence: u64,
    told: Option<Told>,
    leaf: Option<String>,
    /// The content and the command that hashes it, where it is short enough to be read.
    content: Option<(String, String)>,
    leaf_hash: String,
    steps: usize,
    arrives: bool,
    commands: Option<String>,
}

struct RowPart {
    text: String,
    index: u64,
    rows: u64,
    root: String,
    commands: String,
}

struct FigureLink {
    label: String,
    href: String,
}

#[derive(Deserialize)]
pub(super) struct ProofQuery {
    record: RecordKind,
    key: String,
}

pub(super) async fn show(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    QueryParts(query): QueryParts<ProofQuery>,
) -> Result<Response, Refusal> {
    let asked = ProofRequest {
        record: query.record,
        key: query.key,
        size: None,
    };
    let proof = service.record_proof(&caller, &asked).await?;
    let names = match caller.sites {
        None => Names::load(&service, &caller).await?,
        Some(_) => Names::default(),
    };
    let (size, root) = head_of(&proof)?;
    let mut entries = Vec::new();
    for entry in &proof.entries {
        entries.push(entry_part(&service, &caller, entry, (size, &root), &names).await?);
    }
    let key = current_key(&proof)?;
    let code = asked.record.code();
    let title = match asked.record {
        RecordKind::Entry | RecordKind::Correction => format!("{} {}", code, asked.key),
        RecordKind::Row => names.row(&asked.key),
        _ => format!("{} {}", words::spaced(code), names.name(&asked.key)),
    };
    let place = format!("record={code}&key={}", links::encoded(&asked.key));
    let figures = figures(&service, &caller, &asked).await?;
    let row = proof.row.as_ref().map(|row| {
        let inclusion = InclusionProof {
            index: row.index,
            size: row.rows,
            leaf_hash: crate::trail::merkle::leaf_hash(row.row.as_bytes()).to_string(),
            path: row.path.clone(),
            root: row.root.clone(),
        };
        climb(&inclusion).map(|climb| RowPart {
            commands: climb_commands(&row.row, &climb),
            text: row.row.clone(),
            index: row.index,
            rows: row.rows,
            root: row.root.clone(),
        })
    });
    draw(&ProofPage {
        shell: Shell::of(&caller, Section::Trail, format!("Proof of {title}")),
        script: assets::proof_script_path(),
        title,
        size: words::count(size),
        row: row.transpose().map_err(|e| Refusal::broken(&e))?,
        figures,
        signature_commands: checkpoint_commands(&proof.checkpoint, &key)
            .ok_or_else(|| Refusal::broken(&"a checkpoint without its signature"))?,
        json: serde_json::to_string_pretty(&proof).map_err(|e| Refusal::broken(&e))?,
        json_href: format!("/proof/document?{place}"),
        file_href: Some(format!("/proof/file?{place}")),
        checkpoint: proof.checkpoint,
        key,
        entries,
    })
}

/// Size and root that a checkpoint names, the root in hex.
fn head_of(proof: &Proof) -> Result<(u64, String), Refusal> {
    let mut lines = proof.checkpoint.lines().skip(1);
    let size = lines.next().and_then(|line| line.parse().ok());
    let root = lines
        .next()
        .and_then(|line| crate::trail::merkle::Hash::from_base64(line).ok());
    size.zip(root.map(|root| root.to_string()))
        .ok_or_else(|| Refusal::broken(&"a checkpoint without size or root"))
}

/// The key among those of the proof that signed its checkpoint.
fn current_key(proof: &Proof) -> Result<String, Refusal> {
    let mut keys = vec![proof.first_key.clone()];
    for note in &proof.key_changes {
        let change = KeyChange::open(note).map_err(|e| Refusal::broken(&e))?;
        keys.push(change.new.to_string());
    }
    let signed = |text: &String| {
        text.parse()
            .is_ok_and(|key| crate::trail::note::open(&proof.checkpoint, &[key]).is_ok())
    };
    keys.into_iter()
        .find(signed)
        .ok_or_else(|| Refusal::broken(&"a checkpoint without a known key"))
}

async fn entry_part(
    service: &Service,
    caller: &Caller,
    entry: &ProvedEntry,
    (size, root): (u64, &str),
    names: &Names,
) -> Result<EntryPart, Refusal> {
    let inclusion = InclusionProof {
        index: entry.sequence,
        size,
        leaf_hash: entry.leaf_hash.clone(),
        path: entry.path.clone(),
        root: root.to_owned(),
    };
    let climb = climb(&inclusion).map_err(|e| Refusal::broken(&e))?;
    let told = match &entry.leaf {
        Some(_) => Some(told(
            &service.trail_entry(caller, entry.sequence).await?,
            names,
        )),
        None => None,
    };
    Ok(EntryPart {
        sequence: entry.sequence,
        told,
        commands: entry.leaf.as_ref().map(|leaf| entry_commands(leaf, &climb)),
        content: entry
            .content
            .as_ref()
            .filter(|content| content.len() <= READABLE_BYTES)
            .map(|content| (content.clone(), content_command(content))),
        leaf: entry.leaf.clone(),
        leaf_hash: entry.leaf_hash.clone(),
        steps: climb.steps.len(),
        arrives: climb.arrives,
    })
}

async fn figures(
    service: &Service,
    caller: &Caller,
    asked: &ProofRequest,
) -> Result<Vec<FigureLink>, Refusal> {
    let (RecordKind::Statement, Ok(id)) = (asked.record, asked.key.parse::<Uuid>()) else {
        return Ok(Vec::new());
    };
    let (_, statement) = service.statement(caller, id).await?;
    let figures = statement.figures.iter().map(|figure| FigureLink {
        label: figure.label.clone(),
        href: format!(
            "/proof/document?record=figure&key={}",
            links::encoded(&format!("{id}/{}", figure.id))
        ),
    });
    Ok(figures.collect())
}

#[derive(Deserialize)]
pub(super) struct DocumentQuery {
    record: String,
    key: String,
}

impl DocumentQuery {
    fn record(self) -> Result<ProofRequest, Refusal> {
        let record = serde_json::from_value(serde_json::Value::String(self.record))
            .map_err(|_| Refusal::not_found("There is no proof of such a thing."))?;
        Ok(ProofRequest {
            record,
            key: self.key,
            size: None,
        })
    }
}

/// The proof as a file, of a record or of a figure.
pub(super) async fn document(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    QueryParts(query): QueryParts<DocumentQuery>,
) -> Result<Response, Refusal> {
    let proof = if query.record == "figure" {
        let none = || Refusal::not_found("There is no such figure.");
        let (statement, figure) = query.key.split_once('/').ok_or_else(none)?;
        let id: Uuid = statement.parse().map_err(|_| none())?;
        service.figure_proof(&caller, id, figure, None).await?
    } else {
        service.record_proof(&caller, &query.record()?).await?
    };
    let bytes = serde_json::to_vec_pretty(&proof).map_err(|e| Refusal::broken(&e))?;
    Ok(download("application/json", "proof.json", bytes))
}

/// The entry that first tells of a record, as a `.tlog-proof`.
pub(super) async fn file(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    QueryParts(query): QueryParts<DocumentQuery>,
) -> Result<Response, Refusal> {
    let text = service.proof_file(&caller, &query.record()?).await?;
    let kind = "text/plain; charset=utf-8";
    Ok(download(kind, "record.tlog-proof", text.into_bytes()))
}
