//! Tests of the phone forms.
