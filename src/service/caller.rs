//! Who asks, in which programme, and what that allows.

use super::ServiceError;
use uuid::Uuid;

/// What a token or a person may do in the programme.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, serde::Deserialize, utoipa::ToSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum Role {
    /// Everything in the programme.
    Manager,
    /// Reads and uploads evidence, of its own sites where it is bound to some.
    Monitor,
    /// Reads everything and raises findings; changes nothing else.
    Verifier,
}

impl Role {
    pub const ALL: [Role; 3] = [Role::Manager, Role::Monitor, Role::Verifier];

    pub fn code(self) -> &'static str {
        match self {
            Role::Manager => "manager",
            Role::Monitor => "monitor",
            Role::Verifier => "verifier",
        }
    }

    pub fn from_code(code: &str) -> Option<Self> {
        Role::ALL.into_iter().find(|role| role.code() == code)
    }
}

/// What the caller came in with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Holder {
    Token(Uuid),
    Person(Uuid),
}

/// Who asks, and in which programme.
#[derive(Debug, Clone)]
pub struct Caller {
    pub programme_id: Uuid,
    pub programme_code: String,
    pub programme_name: String,
    pub holder: Holder,
    pub role: Role,
    /// Label of the token or name of the person.
    pub label: String,
    /// Sites that the caller is bound to; absent = every site.
    pub sites: Option<Vec<String>>,
    pub read_only: bool,
    /// True until a person has replaced the password that the program made.
    pub first_password: bool,
}

impl Caller {
    /// How the trail names the caller.
    pub(super) fn actor(&self) -> String {
        format!("{}: {}", self.role.code(), self.label)
    }

    pub(super) fn must_be(&self, allowed: &[Role]) -> Result<(), ServiceError> {
        if allowed.contains(&self.role) {
            Ok(())
        } else {
            let names: Vec<&str> = allowed.iter().map(|role| role.code()).collect();
            Err(ServiceError::Forbidden(format!(
                "this needs the role {}; yours is {}",
                names.join(" or "),
                self.role.code()
            )))
        }
    }

    pub(super) fn must_manage(&self) -> Result<(), ServiceError> {
        self.must_be(&[Role::Manager])
    }

    /// For what cannot be told apart by site: figures of the whole programme, its trail, its export.
    pub(super) fn must_see_every_site(&self) -> Result<(), ServiceError> {
        match &self.sites {
            None => Ok(()),
            Some(own) => Err(ServiceError::Forbidden(format!(
                "this holds what belongs to every site; you are bound to {}",
                own.join(", ")
            ))),
        }
    }

    pub(super) fn must_write(&self) -> Result<(), ServiceError> {
        if self.read_only {
            Err(ServiceError::Forbidden("the token may only read".into()))
        } else {
            Ok(())
        }
    }

    /// Whether rows of a site may be shown.
    pub fn sees(&self, site: &str) -> bool {
        self.sites
            .as_ref()
            .is_none_or(|own| own.iter().any(|code| code == site))
    }
}
