//! Bytes from the field to typed rows, or to errors that name the row, the column and the reason.
