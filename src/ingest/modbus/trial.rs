//! One reply to one read, decoded as on a link. For tests that feed replies from outside.
//!
//! Owns nothing but the way in: framing, checks and decoding are those of `exchange` and `decode`.

use std::time::Duration;

use lauter_core::reading::Cause;
use tokio::io::{AsyncReadExt, AsyncWriteExt};

use super::Parameters;
use super::decode::{status, value};
use super::exchange::{Answer, Connection};
use super::plan::{Part, plan};
use crate::config::model::ModbusPoint;

/// Longest request a read makes.
const REQUEST: usize = 12;

/// What a point's first read makes of `reply`: a value, a cause, or None where the reply is no answer. `own` puts the
/// request's own number into a TCP reply, as a device would.
pub async fn answer(
    point: &ModbusPoint,
    reply: &[u8],
    serial: bool,
    own: bool,
) -> Option<Result<f64, Cause>> {
    let reads = plan(&[(0, point)], &Parameters::default());
    let read = reads.first()?;
    let (ours, mut theirs) = tokio::io::duplex(1024);
    let limit = Duration::from_secs(5);
    let mut connection = if serial {
        Connection::rtu(ours, limit, Duration::ZERO)
    } else {
        Connection::tcp(ours, limit)
    };
    let mut reply = reply.to_vec();
    let device = async move {
        let mut request = [0; REQUEST];
        let length = theirs.read(&mut request).await.unwrap_or(0);
        if own && !serial && length >= 2 && reply.len() >= 2 {
            reply[..2].copy_from_slice(&request[..2]);
        }
        // The other end may have hung up already.
        let _ = theirs.write_all(&reply).await;
        drop(theirs);
        std::future::pending::<()>().await;
    };
    // A reply longer than anybody wants is never taken whole.
    let answer = tokio::select! {
        answer = connection.read(read) => answer,
        () = device => return None,
    };
    match answer.ok()? {
        Answer::Exception(_) => Some(Err(Cause::DeviceError)),
        Answer::Payload(payload) => {
            assert_eq!(payload.len(), usize::from(read.range.quantity));
            let mut decoded = None;
            for item in &read.items {
                let part = payload.part(read.range.address, item.range);
                match (item.part, &point.status) {
                    (Part::Value, _) => decoded = Some(value(point, &part)),
                    (Part::Status, Some(register)) => _ = status(register, &part),
                    (Part::Status, None) => {}
                }
            }
            decoded
        }
    }
}
