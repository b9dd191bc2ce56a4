//! What is attached to findings: named by hash, and where somebody sends the bytes, kept
//! after they were held against the hash.

use super::{AttachmentView, Caller, Once, Service, ServiceError, must_read, row_of};
use crate::accounting::records::findings::Attachment;
use crate::service::register::check_text;
use crate::store;
use crate::store::findings::AttachmentRow;
use crate::trail::merkle::{Hash, sha256};
use sqlx::PgConnection;

/// Bytes that an attachment kept here may have; a larger one is named by its hash alone. The
/// constraint `attachment_content_size` says the same.
pub const ATTACHMENT_BYTES_MAX: u64 = 8 * 1024 * 1024;

/// Files that one line of a dialogue may name.
const ATTACHMENTS_MAX: usize = 20;

/// Bytes that a named file may have: 1 TiB is far beyond any of them.
const NAMED_BYTES_MAX: u64 = 1 << 40;

/// An attachment to be handed out.
#[derive(Debug)]
pub struct AttachmentFile {
    pub attachment: Attachment,
    pub bytes: Vec<u8>,
}

impl AttachmentFile {
    /// A browser keeps the file and never shows it: whoever sent it chose what is in it.
    pub const MEDIA_TYPE: &str = "application/octet-stream";

    /// Value of `Content-Disposition` (RFC 6266), with a plain name and the whole one.
    pub fn disposition(&self) -> String {
        let name = &self.attachment.file_name;
        let plain: String = name
            .chars()
            .map(|c| match c {
                'a'..='z' | 'A'..='Z' | '0'..='9' | '.' | '-' | '_' => c,
                _ => '_',
            })
            .collect();
        let mut whole = String::new();
        for byte in name.bytes() {
            if byte.is_ascii_alphanumeric() || b"-._".contains(&byte) {
                whole.push(char::from(byte));
            } else {
                whole.push_str(&format!("%{byte:02X}"));
            }
        }
        format!("attachment; filename=\"{plain}\"; filename*=UTF-8''{whole}")
    }
}

/// The attachments of a line, in the one form.
pub(super) fn check(attachments: &[Attachment]) -> Result<Vec<Attachment>, ServiceError> {
    if attachments.len() > ATTACHMENTS_MAX {
        let detail = format!("a line may name {ATTACHMENTS_MAX} files");
        return Err(ServiceError::invalid("attachments", detail));
    }
    attachments.iter().map(check_one).collect()
}

fn check_one(attachment: &Attachment) -> Result<Attachment, ServiceError> {
    let Attachment {
        sha256,
        file_name,
        media_type,
        size_bytes,
    } = attachment;
    let refused = |field: &str, detail: &str| {
        Err(ServiceError::invalid(
            &format!("attachments.{field}"),
            detail,
        ))
    };
    if Hash::from_hex(sha256).is_err() {
        return refused("sha256", "give the SHA-256 as 64 digits of lower-case hex");
    }
    check_text("attachments.file_name", file_name, 200)?;
    if file_name.contains(['/', '\\', '"']) {
        return refused(
            "file_name",
            "give a name without a folder and without quotes",
        );
    }
    let token = |part: &str| {
        let plain = |byte: u8| byte.is_ascii_alphanumeric() || b"!#$&-^_.+".contains(&byte);
        (1..=64).contains(&part.len()) && part.bytes().all(plain)
    };
    if !media_type
        .split_once('/')
        .is_some_and(|(kind, subtype)| token(kind) && token(subtype))
    {
        return refused("media_type", "give a media type such as application/pdf");
    }
    if *size_bytes > NAMED_BYTES_MAX {
        return refused("size_bytes", "no file is larger than 1 TiB here");
    }
    Ok(Attachment {
        file_name: file_name.trim().to_owned(),
        ..attachment.clone()
    })
}

impl Service {
    /// Keeps the bytes of a file that a finding names.
    ///
    /// # Errors
    /// `NotFound` where the finding names no such file; `Invalid` where the bytes are not
    /// those that the hash and the size say; `TooLarge` above [`ATTACHMENT_BYTES_MAX`].
    pub async fn keep_attachment(
        &self,
        caller: &Caller,
        id: &str,
        hash: &str,
        bytes: &[u8],
        once: &Once,
    ) -> Result<AttachmentView, ServiceError> {
        must_read(caller)?;
        if bytes.len() as u64 > ATTACHMENT_BYTES_MAX {
            return Err(ServiceError::TooLarge {
                limit_bytes: ATTACHMENT_BYTES_MAX,
            });
        }
        let digest = sha256(bytes);
        self.write(caller, once, async |connection| {
            let named = named(connection, caller, id, hash).await?.attachment;
            if digest.to_string() != named.sha256 {
                let detail = format!("hashes to {digest}, not to {}", named.sha256);
                return Err(ServiceError::invalid("body", detail));
            }
            if bytes.len() as u64 != named.size_bytes {
                let detail = format!("has {} bytes, not {}", bytes.len(), named.size_bytes);
                return Err(ServiceError::invalid("body", detail));
            }
            let programme = caller.programme_id;
            store::findings::insert_content(connection, programme, &digest.0, bytes).await?;
            Ok(AttachmentView {
                attachment: named,
                kept: true,
            })
        })
        .await
    }

    /// The bytes of an attachment.
    ///
    /// # Errors
    /// `NotFound` where the finding names no such file or nobody has sent its bytes.
    pub async fn attachment(
        &self,
        caller: &Caller,
        id: &str,
        hash: &str,
    ) -> Result<AttachmentFile, ServiceError> {
        must_read(caller)?;
        let mut connection = self.reading(caller).await?;
        let attachment = named(&mut connection, caller, id, hash).await?.attachment;
        let digest = Hash::from_hex(&attachment.sha256)
            .map_err(|e| ServiceError::Internal(format!("attachment: {e}")))?;
        let bytes = store::findings::content(&mut connection, caller.programme_id, &digest.0)
            .await?
            .ok_or_else(|| ServiceError::not_found("kept file", hash))?;
        Ok(AttachmentFile { attachment, bytes })
    }
}

/// The file of this hash that a finding names.
async fn named(
    connection: &mut PgConnection,
    caller: &Caller,
    id: &str,
    hash: &str,
) -> Result<AttachmentRow, ServiceError> {
    let number = row_of(connection, caller, id).await?.number;
    store::findings::attachments(connection, caller.programme_id, number)
        .await?
        .into_iter()
        .find(|row| row.attachment.sha256 == hash)
        .ok_or_else(|| ServiceError::not_found("attachment", hash))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn named(name: &str) -> Attachment {
        Attachment {
            sha256: "0".repeat(64),
            file_name: name.to_owned(),
            media_type: "text/plain".to_owned(),
            size_bytes: 3,
        }
    }

    #[test]
    fn a_name_of_any_letters_is_offered_plainly_and_whole() {
        let file = AttachmentFile {
            attachment: named("Übersicht 1.pdf"),
            bytes: Vec::new(),
        };
        assert_eq!(
            file.disposition(),
            "attachment; filename=\"_bersicht_1.pdf\"; filename*=UTF-8''%C3%9Cbersicht%201.pdf"
        );
    }

    #[test]
    fn what_names_no_file_is_refused() {
        assert!(check(&[named("a.txt")]).is_ok());
        assert!(check(&vec![named("a.txt"); 21]).is_err());
        for wrong in [
            named("../a.txt"),
            named("a\"b"),
            named("a\nb"),
            named(" "),
            Attachment {
                sha256: "A".repeat(64),
                ..named("a")
            },
            Attachment {
                sha256: "0".repeat(63),
                ..named("a")
            },
            Attachment {
                media_type: "text".into(),
                ..named("a")
            },
            Attachment {
                media_type: "text/pl ain".into(),
                ..named("a")
            },
            Attachment {
                media_type: "text/html\r\nx: y".into(),
                ..named("a")
            },
            Attachment {
                size_bytes: u64::MAX,
                ..named("a")
            },
        ] {
            assert!(check(std::slice::from_ref(&wrong)).is_err(), "{wrong:?}");
        }
    }
}
