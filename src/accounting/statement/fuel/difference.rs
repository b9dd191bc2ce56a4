//! Whether two groups differ, in words for a note.

use crate::statistics::StatisticsError;
use crate::statistics::compare::Comparison;

/// `t = 5.319, 4 degrees of freedom, two-sided p = 0.0060`, or why there is no test.
pub(super) fn tested(found: Result<Comparison, StatisticsError>) -> String {
    match found {
        Ok(found) => format!(
            "t = {:.3}, {:.2} degrees of freedom, two-sided p {}",
            found.t,
            found.degrees_of_freedom,
            if found.p_two_sided < 0.0001 {
                "below 0.0001".to_owned()
            } else {
                format!("= {:.4}", found.p_two_sided)
            }
        ),
        Err(reason) => format!("no test: {reason}"),
    }
}
