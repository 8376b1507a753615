//! What a server's answer means for the rows that were sent. Pure.

use influxdb2::RequestError;

/// What to do with the rows.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Verdict {
    Delivered,
    /// Unreachable, slow, overloaded: the same rows again, later.
    Later {
        reason: String,
        throttled: bool,
    },
    /// Too many or a bad one among them: cut in half; a single row is set aside.
    Divide {
        reason: String,
        too_large: bool,
    },
    /// A person must mend the configuration, here or there; the rows wait.
    Refused {
        reason: String,
    },
}

/// Judges the outcome of a write call.
pub(super) fn judge(result: &Result<(), RequestError>) -> Verdict {
    match result {
        Ok(()) => Verdict::Delivered,
        Err(RequestError::Http { status, text }) => judge_status(status.as_u16(), text),
        Err(RequestError::ReqwestProcessing { source }) if source.is_builder() => {
            Verdict::Refused {
                reason: format!("the request cannot be made: {source}; check influx.url and token"),
            }
        }
        Err(error) => Verdict::Later {
            reason: with_causes(error),
            throttled: false,
        },
    }
}

/// The meaning of a status other than 204, the only one that says the points are written.
pub(super) fn judge_status(status: u16, text: &str) -> Verdict {
    let answer = format!("HTTP {status} {}", text.trim());
    let answer = answer.trim_end().to_owned();
    match status {
        400 | 422 => Verdict::Divide {
            reason: answer,
            too_large: false,
        },
        413 => Verdict::Divide {
            reason: answer,
            too_large: true,
        },
        408 | 425 | 429 | 500..=599 => Verdict::Later {
            reason: answer,
            throttled: status == 429,
        },
        401 | 403 => Verdict::Refused {
            reason: format!(
                "{answer}: the token may not write; check influx token and organisation"
            ),
        },
        404 => Verdict::Refused {
            reason: format!("{answer}: check influx.bucket, influx.organisation and influx.url"),
        },
        _ => Verdict::Refused {
            reason: format!("{answer}: this is not a v2 write call's answer; check influx.url"),
        },
    }
}

/// An error with what lies beneath it; the top alone says only that something went wrong.
fn with_causes(error: &dyn std::error::Error) -> String {
    let mut text = error.to_string();
    let mut cause = error.source();
    while let Some(inner) = cause {
        let inner_text = inner.to_string();
        if !text.contains(&inner_text) {
            text = format!("{text}: {inner_text}");
        }
        cause = inner.source();
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn each_status_has_its_meaning() {
        for status in [429, 500, 502, 503, 504, 408] {
            assert!(matches!(judge_status(status, ""), Verdict::Later { .. }));
        }
        for status in [400, 413, 422] {
            assert!(matches!(judge_status(status, ""), Verdict::Divide { .. }));
        }
        for status in [200, 301, 401, 403, 404, 405] {
            assert!(matches!(judge_status(status, ""), Verdict::Refused { .. }));
        }
    }

    proptest! {
        #[test]
        fn no_status_counts_as_delivered_and_each_is_named(status in 100..1000_u16, text in ".*") {
            let (Verdict::Later { reason, .. }
                | Verdict::Divide { reason, .. }
                | Verdict::Refused { reason }) = judge_status(status, &text)
            else {
                return Err(TestCaseError::fail("delivered"));
            };
            prop_assert!(reason.contains(&status.to_string()));
        }
    }
}
