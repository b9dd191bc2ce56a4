//! Statement to charts and text.
