//! One statement: its figures by group, what their doubt comes from, its claims and notes.

use super::figures::{self, ClaimView, FigureView, ShareView};
use super::page::{PathParts, Section, Shell, draw};
use super::refusal::Refusal;
use super::report::OpinionForm;
use super::session::Visitor;
use super::simulated::{self, BothView, ContributionView};
use super::waterfall::{self, StepLine};
use super::{links, words};
use crate::accounting::records::findings::SubjectKind;
use crate::accounting::statement::{Figure, FigureKind, Statement};
use crate::service::opinions::OpinionView;
use crate::service::statements::StatementView;
use crate::service::{Caller, Role, Service};
use askama::Template;
use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use uuid::Uuid;

#[derive(Template)]
#[template(path = "statement.html")]
struct StatementPage {
    shell: Shell,
    raise: Option<String>,
    view: StatementView,
    statement: Statement,
    reductions: TotalView,
    removals: TotalView,
    reductions_steps: Vec<StepLine>,
    removals_steps: Vec<StepLine>,
    tree: String,
    /// Further groups of figures, each with its heading.
    groups: Vec<(&'static str, Vec<FigureView>)>,
    both: Vec<BothView>,
    notes: Vec<String>,
    confidence: String,
    /// Earlier statements of the period: what it is called and the page of the difference.
    earlier: Vec<(String, String)>,
    methods: String,
    /// Opinions that are recorded on it, the latest last.
    opinions: Vec<OpinionLine>,
    /// Whether the reader may record one, what was typed of it, and what is wrong with that.
    may_record: bool,
    form: OpinionForm,
    fault: Option<String>,
}

/// An opinion with where the trail says so.
struct OpinionLine {
    sentence: String,
    accreditation: String,
    document_sha256: String,
    by: String,
    sequence: u64,
}

/// One of the two totals with all that belongs to it.
struct TotalView {
    figure: Option<FigureView>,
    claim: ClaimView,
    /// Figures that it is made of or goes with.
    parts: Vec<FigureView>,
    shares: Vec<ShareView>,
    rest: Option<String>,
    /// The interval by simulation, e.g. `301 to 958`.
    simulated: Option<String>,
    contributions: Vec<ContributionView>,
    advice: Vec<String>,
}

/// Where a figure stands on the page.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Group {
    Reductions,
    Removals,
    Species,
    Fuel,
    Activity,
    ForInformation,
}

fn group(figure: &Figure) -> Group {
    match figure.kind {
        FigureKind::Reduction => Group::Reductions,
        FigureKind::Removal => Group::Removals,
        FigureKind::Activity => Group::Activity,
        FigureKind::ForInformation => Group::ForInformation,
        FigureKind::Mass | FigureKind::Percent => match figure.id.as_str() {
            "co2_avoided" | "ch4_avoided" | "n2o_avoided" => Group::Reductions,
            id if id.starts_with("co2e_") || id.starts_with("leakage_") => Group::Reductions,
            id if id.starts_with("char_") => Group::Removals,
            id if id.starts_with("fuel_") => Group::Fuel,
            _ => Group::Species,
        },
    }
}

pub(super) async fn show(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    PathParts(id): PathParts<Uuid>,
) -> Result<Response, Refusal> {
    page(&service, &caller, id, (OpinionForm::default(), None)).await
}

/// The page, with what was typed into its form.
pub(super) async fn page(
    service: &Service,
    caller: &Caller,
    id: Uuid,
    (form, fault): (OpinionForm, Option<String>),
) -> Result<Response, Refusal> {
    let (view, statement) = service.statement(caller, id).await?;
    let shown = |wanted: Group, but: &str| -> Vec<FigureView> {
        statement
            .figures
            .iter()
            .filter(|figure| group(figure) == wanted && figure.id != but)
            .map(|figure| figures::view(id, figure, None))
            .collect()
    };
    let claims = &statement.claims;
    let (reduced, removed) = (
        claims.reductions.tonnes.tonnes(),
        claims.removals.tonnes.tonnes(),
    );
    let reductions = total(
        (id, &statement),
        (&claims.reductions.figure, reduced),
        figures::claim("reductions", &claims.reductions, reduced),
        shown(Group::Reductions, &claims.reductions.figure),
    );
    let removals = total(
        (id, &statement),
        (&claims.removals.figure, removed),
        figures::claim("removals", &claims.removals, removed),
        shown(Group::Removals, &claims.removals.figure),
    );
    let groups = vec![
        ("Masses by species", shown(Group::Species, "")),
        ("Fuel", shown(Group::Fuel, "")),
        ("Activity", shown(Group::Activity, "")),
        (
            "Beside the account, for information: never claimed",
            shown(Group::ForInformation, ""),
        ),
    ];
    let title = format!("Statement of {}", statement.period.code);
    let earlier = service
        .statements(caller)
        .await?
        .into_iter()
        .filter(|other| other.period == view.period && other.sequence < view.sequence)
        .map(|other| {
            let name = format!("{} at position {}", other.methodology, other.position);
            (name, links::difference(other.id, id))
        })
        .collect();
    draw(&StatementPage {
        raise: links::raise(caller, SubjectKind::Statement, &id.to_string()),
        shell: Shell::of(caller, Section::Statements, title),
        reductions,
        removals,
        reductions_steps: waterfall::reductions(id, &statement),
        removals_steps: waterfall::removals(id, &statement),
        tree: links::tree(id),
        both: simulated::both(id, &statement),
        groups: groups
            .into_iter()
            .filter(|(_, list)| !list.is_empty())
            .collect(),
        notes: statement
            .notes
            .iter()
            .map(|note| words::label(&note.sentence))
            .collect(),
        confidence: statement
            .figures
            .first()
            .map(|figure| words::percent(figure.confidence))
            .unwrap_or_default(),
        earlier,
        methods: links::methods(&view.period),
        opinions: opinion_lines(service.opinions(caller, id).await?),
        may_record: caller.role == Role::Verifier && !caller.read_only,
        form,
        fault,
        view,
        statement,
    })
}

fn opinion_lines(opinions: Vec<OpinionView>) -> Vec<OpinionLine> {
    let line = |opinion: OpinionView| OpinionLine {
        sentence: opinion.record().sentence(),
        accreditation: opinion.accreditation,
        document_sha256: opinion.document_sha256,
        by: opinion.recorded_by,
        sequence: opinion.sequence,
    };
    opinions.into_iter().map(line).collect()
}

/// The trace as PROV-JSON, as a file.
pub(super) async fn provenance(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    PathParts(id): PathParts<Uuid>,
) -> Result<Response, Refusal> {
    let bytes = service.provenance_bytes(&caller, id).await?;
    let headers = [
        (header::CONTENT_TYPE, "application/json".to_owned()),
        (
            header::CONTENT_DISPOSITION,
            format!("attachment; filename=\"{id}.prov.json\""),
        ),
    ];
    Ok((headers, bytes).into_response())
}

fn total(
    (id, statement): (Uuid, &Statement),
    (figure_id, claimed): (&str, u64),
    claim: ClaimView,
    parts: Vec<FigureView>,
) -> TotalView {
    let figure = statement.figure(figure_id);
    let (shares, rest) = figure.map_or((Vec::new(), None), |figure| figures::shares(id, figure));
    let drawn = statement.simulation.as_ref();
    let drawn = drawn.and_then(|simulation| simulation.figure(figure_id));
    let advice = statement.advice.iter();
    TotalView {
        simulated: figure
            .zip(drawn)
            .and_then(|(figure, drawn)| simulated::interval(figure, drawn)),
        contributions: drawn.map_or_else(Vec::new, |drawn| simulated::contributions(id, drawn)),
        advice: advice
            .filter(|advice| advice.figure == figure_id)
            .map(|advice| words::label(&advice.sentence))
            .collect(),
        figure: figure.map(|figure| figures::view(id, figure, Some(claimed))),
        claim,
        parts,
        shares,
        rest,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rust_decimal::Decimal;

    fn figure(id: &str, kind: FigureKind) -> Figure {
        Figure {
            id: id.into(),
            label: String::new(),
            unit: String::new(),
            value: Decimal::ONE,
            lower: Decimal::ONE,
            upper: Decimal::ONE,
            confidence: Decimal::ONE,
            node: String::new(),
            kind,
            shares: Vec::new(),
        }
    }

    #[test]
    fn removals_and_their_char_stand_apart_from_reductions() {
        use FigureKind::*;
        assert_eq!(
            group(&figure("reductions_co2e", Reduction)),
            Group::Reductions
        );
        assert_eq!(group(&figure("ch4_avoided", Mass)), Group::Reductions);
        assert_eq!(group(&figure("removals_co2", Removal)), Group::Removals);
        assert_eq!(group(&figure("char_to_soil_dry", Mass)), Group::Removals);
    }

    #[test]
    fn every_other_figure_has_a_place() {
        use FigureKind::*;
        assert_eq!(group(&figure("pm25_percent", Percent)), Group::Species);
        assert_eq!(group(&figure("co_avoided", Mass)), Group::Species);
        assert_eq!(group(&figure("fuel_saved", Mass)), Group::Fuel);
        assert_eq!(group(&figure("use_rate", Activity)), Group::Activity);
        assert_eq!(group(&figure("co2e_baseline", Mass)), Group::Reductions);
        assert_eq!(group(&figure("leakage_co2e", Mass)), Group::Reductions);
        assert_eq!(
            group(&figure("co2_all_avoided", ForInformation)),
            Group::ForInformation
        );
    }
}
