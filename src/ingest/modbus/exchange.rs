//! One request and its answer, bounded in time and checked.
//!
//! Owns the only place where a frame is sent. What can be sent is what `Read` can say: functions 01 to 04.
//! After any fault but a device's exception the connection must be dropped, since an answer may still be
//! on its way. The library's convenience readers are not used: they panic in debug builds, and pass in
//! release builds, when a reply is too short.

use std::time::Duration;

use tokio::io::{AsyncRead, AsyncWrite};
use tokio::time::Instant;
use tokio_modbus::client::{Client, Context, rtu, tcp};
use tokio_modbus::slave::{Slave, SlaveContext};
use tokio_modbus::{ExceptionCode, Request, Response};

use crate::config::model::Table;

use super::decode::Payload;
use super::fault::{Fault, Framing};
use super::guard::{Guard, Heard};
use super::limit::Limit;
use super::plan::Read;

/// What a device said to a request.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Answer {
    Payload(Payload<'static>),
    Exception(ExceptionCode),
}

/// An open link. One request at a time: `read` takes it whole.
pub(super) struct Connection {
    context: Context,
    framing: Framing,
    /// What came since the last request.
    heard: Heard,
    limit: Limit,
    /// Silence kept before each request.
    gap: Duration,
    /// None until the first, and where no gap is kept.
    last_exchange: Option<Instant>,
    has_answered: bool,
}

impl std::fmt::Debug for Connection {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Connection")
            .field("timeout", &self.limit.allowed())
            .field("has_answered", &self.has_answered)
            .finish_non_exhaustive()
    }
}

impl Connection {
    /// A connection that speaks Modbus TCP.
    pub fn tcp<S>(stream: S, timeout: Duration) -> Self
    where
        S: AsyncRead + AsyncWrite + Unpin + Send + std::fmt::Debug + 'static,
    {
        let guard = Guard::new(stream);
        let heard = guard.heard();
        Self::over(
            tcp::attach(guard),
            Framing::Tcp,
            heard,
            timeout,
            Duration::ZERO,
        )
    }

    /// A connection that speaks RTU frames, with at least `gap` between a reply and the next request.
    pub fn rtu<S>(stream: S, timeout: Duration, gap: Duration) -> Self
    where
        S: AsyncRead + AsyncWrite + Unpin + Send + 'static,
    {
        let guard = Guard::new(stream);
        let heard = guard.heard();
        Self::over(rtu::attach(guard), Framing::Rtu, heard, timeout, gap)
    }

    fn over(
        context: Context,
        framing: Framing,
        heard: Heard,
        timeout: Duration,
        gap: Duration,
    ) -> Self {
        Self {
            context,
            framing,
            heard,
            limit: Limit::new(timeout),
            gap,
            last_exchange: None,
            has_answered: false,
        }
    }

    /// True once something has been answered over this connection.
    pub fn has_answered(&self) -> bool {
        self.has_answered
    }

    /// Asks for one read. On a fault the connection must not be used again.
    pub async fn read(&mut self, read: &Read) -> Result<Answer, Fault> {
        if let Some(last_exchange) = self.last_exchange {
            tokio::time::sleep_until(last_exchange + self.gap).await;
        }
        self.context.set_slave(Slave(read.unit_id));
        let called = self.limit.keep(self.context.call(request(read))).await;
        let answer = match called {
            None => {
                let limit_ms = self.limit.allowed().as_millis();
                let heard = self.heard.since_request();
                Err(Fault::out_of_time(read, self.framing, limit_ms, heard))
            }
            Some(Err(error)) => {
                let heard = self.heard.since_request();
                Err(Fault::of(read, self.framing, error, heard))
            }
            Some(Ok(Err(exception))) => Ok(Answer::Exception(exception)),
            Some(Ok(Ok(response))) => payload(read, response).map(Answer::Payload),
        };
        if !self.gap.is_zero() {
            self.last_exchange = Some(Instant::now());
        }
        self.has_answered |= answer.is_ok();
        answer
    }

    /// Nothing will be asked for a while.
    pub fn rest(&mut self) {
        self.limit.rest();
    }
}

fn request(read: &Read) -> Request<'static> {
    let address = read.range.address;
    let quantity = read.range.quantity;
    match read.table {
        Table::Coil => Request::ReadCoils(address, quantity),
        Table::Discrete => Request::ReadDiscreteInputs(address, quantity),
        Table::Holding => Request::ReadHoldingRegisters(address, quantity),
        Table::Input => Request::ReadInputRegisters(address, quantity),
    }
}

/// The answer's registers or bits, if there are exactly as many as were asked for. Bits come in whole
/// bytes, so a device pads them.
fn payload(read: &Read, response: Response) -> Result<Payload<'static>, Fault> {
    let wanted = usize::from(read.range.quantity);
    let (got, on_the_wire) = match response {
        Response::ReadCoils(bits) | Response::ReadDiscreteInputs(bits) => {
            (Payload::Bits(bits.into()), wanted.next_multiple_of(8))
        }
        Response::ReadHoldingRegisters(registers) | Response::ReadInputRegisters(registers) => {
            (Payload::Registers(registers.into()), wanted)
        }
        other => {
            return Err(Fault::WrongAnswer {
                unit_id: read.unit_id,
                read: read.to_string(),
                detail: format!("function {:02X}", other.function_code().value()),
            });
        }
    };
    if got.len() != on_the_wire {
        return Err(Fault::WrongCount {
            unit_id: read.unit_id,
            read: read.to_string(),
            got: got.len(),
            wanted: on_the_wire,
        });
    }
    Ok(match got {
        Payload::Bits(bits) => {
            let mut bits = bits.into_owned();
            bits.truncate(wanted);
            Payload::Bits(bits.into())
        }
        registers @ Payload::Registers(_) => registers,
    })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use tokio::io::{AsyncReadExt, AsyncWriteExt};

    use super::super::plan::Range;
    use super::super::testing::crc_16_modbus;
    use super::*;

    fn read_of(table: Table, address: u16, quantity: u16) -> Read {
        Read {
            unit_id: 1,
            table,
            range: Range { address, quantity },
            every: Duration::from_secs(1),
            items: Vec::new(),
        }
    }

    /// Answers the first RTU request with `reply`, hangs up, and gives back what was asked and how it went.
    async fn exchange_rtu(read: &Read, reply: &[u8]) -> (Vec<u8>, Result<Answer, Fault>) {
        let (ours, mut theirs) = tokio::io::duplex(512);
        let mut connection = Connection::rtu(ours, Duration::from_millis(200), Duration::ZERO);
        let server = async move {
            let mut request = vec![0; 8];
            theirs.read_exact(&mut request).await.unwrap();
            theirs.write_all(reply).await.unwrap();
            request
        };
        let (answer, request) = tokio::join!(connection.read(read), server);
        (request, answer)
    }

    fn framed(body: &[u8]) -> Vec<u8> {
        let mut frame = body.to_vec();
        frame.extend(crc_16_modbus(body).to_le_bytes());
        frame
    }

    /// Modbus Application Protocol V1.1b3, 6.3: the example of function 03, in RTU frames.
    #[tokio::test]
    async fn the_specifications_read_example_goes_over_the_wire_byte_for_byte() {
        let reply = [
            0x01, 0x03, 0x06, 0x02, 0x2B, 0x00, 0x00, 0x00, 0x64, 0x05, 0x7A,
        ];
        let (request, answer) = exchange_rtu(&read_of(Table::Holding, 0x6B, 3), &reply).await;
        assert_eq!(request, [0x01, 0x03, 0x00, 0x6B, 0x00, 0x03, 0x74, 0x17]);
        assert_eq!(
            answer.unwrap(),
            Answer::Payload(Payload::Registers(vec![0x022B, 0x0000, 0x0064].into()))
        );
    }

    /// The check value of CRC-16/MODBUS. The routine is the tests' own; the library's agrees with it
    /// wherever a frame made with it is accepted.
    #[tokio::test]
    async fn the_crc_of_123456789_is_4b37_and_the_library_uses_that_crc() {
        assert_eq!(crc_16_modbus(b"123456789"), 0x4B37);
        let reply = framed(&[0x01, 0x04, 0x02, 0x12, 0x34]);
        let (request, answer) = exchange_rtu(&read_of(Table::Input, 9, 1), &reply).await;
        assert_eq!(request, framed(&[0x01, 0x04, 0x00, 0x09, 0x00, 0x01]));
        assert_eq!(
            answer.unwrap(),
            Answer::Payload(Payload::Registers(vec![0x1234].into()))
        );
    }

    #[tokio::test]
    async fn a_frame_with_a_wrong_crc_is_never_an_answer() {
        let mut reply = framed(&[0x01, 0x04, 0x02, 0x12, 0x34]);
        reply[4] ^= 0x01;
        let (_, answer) = exchange_rtu(&read_of(Table::Input, 9, 1), &reply).await;
        assert!(answer.is_err());
    }

    #[tokio::test]
    async fn short_and_long_replies_are_faults_that_name_the_registers() {
        for registers in [0_u8, 1, 3] {
            let mut body = vec![0x01, 0x03, 2 * registers];
            body.extend(vec![0; 2 * usize::from(registers)]);
            let (_, answer) = exchange_rtu(&read_of(Table::Holding, 100, 2), &framed(&body)).await;
            let fault = answer.unwrap_err();
            assert!(matches!(fault, Fault::WrongCount { .. }), "{fault}");
            assert!(fault.to_string().contains("100 to 101"), "{fault}");
        }
    }

    #[tokio::test]
    async fn bits_are_padded_to_bytes_and_no_further() {
        let nine = read_of(Table::Coil, 0, 9);
        let (_, answer) = exchange_rtu(&nine, &framed(&[0x01, 0x01, 0x02, 0x05, 0x01])).await;
        let mut expected = vec![true, false, true, false, false, false, false, false];
        expected.push(true);
        assert_eq!(
            answer.unwrap(),
            Answer::Payload(Payload::Bits(expected.into()))
        );
        let (_, short) = exchange_rtu(&nine, &framed(&[0x01, 0x01, 0x01, 0x05])).await;
        assert!(matches!(short, Err(Fault::WrongCount { .. })));
    }

    #[tokio::test]
    async fn another_function_or_unit_is_not_our_answer() {
        let read = read_of(Table::Input, 0, 1);
        for body in [[0x01, 0x03, 0x02, 0, 7], [0x02, 0x04, 0x02, 0, 7]] {
            let (_, answer) = exchange_rtu(&read, &framed(&body)).await;
            assert!(
                matches!(answer, Err(Fault::WrongAnswer { .. })),
                "{answer:?}"
            );
        }
    }

    #[tokio::test]
    async fn a_devices_exception_is_an_answer() {
        let read = read_of(Table::Input, 0, 1);
        let (_, answer) = exchange_rtu(&read, &framed(&[0x01, 0x84, 0x02])).await;
        assert_eq!(
            answer.unwrap(),
            Answer::Exception(ExceptionCode::IllegalDataAddress)
        );
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]

        /// Whatever comes, the reply to two registers is two registers, an exception or a fault: no panic.
        #[test]
        fn no_reply_makes_the_client_panic_or_invent_registers(
            reply in prop::collection::vec(any::<u8>(), 1..40), framing in any::<bool>()
        ) {
            let reply = if framing { framed(&[&[1, 3][..], &reply].concat()) } else { reply };
            let runtime = tokio::runtime::Builder::new_current_thread()
                .enable_all()
                .build()
                .unwrap();
            let (_, answer) =
                runtime.block_on(exchange_rtu(&read_of(Table::Holding, 0, 2), &reply));
            if let Ok(Answer::Payload(payload)) = answer {
                prop_assert_eq!(payload.len(), 2);
            }
        }
    }
}
