//! Faults from another terminal: `serve --control` listens, `inject` says one command and shows the answer.
//!
//! Owns the exchange: one line, one answer, and the connection ends. An answer begins with `done` or `refused`.

use std::io::{BufRead as _, BufReader as StdReader, Read as _, Write as _};
use std::net::SocketAddr;
use std::time::Duration;

use clap::Args;
use tokio::io::{AsyncBufReadExt as _, AsyncReadExt as _, AsyncWriteExt as _, BufReader};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{mpsc, oneshot};

use super::{Failure, print};

/// Lines that may wait for the brewhouse.
const WAITING_LINES: usize = 16;
/// Longest command, bytes.
const LONGEST_LINE: u64 = 1024;
/// How long either side waits for the other.
const LIMIT: Duration = Duration::from_secs(5);

/// A command line, and where its answer goes.
#[derive(Debug)]
pub struct Asked {
    pub line: String,
    pub answer: oneshot::Sender<Result<String, String>>,
}

/// Listens for commands.
pub async fn listen(address: SocketAddr) -> std::io::Result<(SocketAddr, mpsc::Receiver<Asked>)> {
    let listener = TcpListener::bind(address).await?;
    let bound = listener.local_addr()?;
    let (send, receive) = mpsc::channel(WAITING_LINES);
    tokio::spawn(async move {
        while let Ok((stream, _)) = listener.accept().await {
            let send = send.clone();
            tokio::spawn(async move {
                // Whoever is slower than that has gone.
                let _ = tokio::time::timeout(LIMIT, exchange(stream, send)).await;
            });
        }
    });
    Ok((bound, receive))
}

async fn exchange(stream: TcpStream, send: mpsc::Sender<Asked>) -> std::io::Result<()> {
    let mut stream = BufReader::new(stream);
    let mut line = String::new();
    (&mut stream)
        .take(LONGEST_LINE)
        .read_line(&mut line)
        .await?;
    let (answer_in, answer) = oneshot::channel();
    let asked = Asked {
        line,
        answer: answer_in,
    };
    let words = match send.send(asked).await {
        Ok(()) => answer.await.ok(),
        Err(_) => None,
    };
    let words = match words {
        Some(Ok(words)) => format!("done {words}\n"),
        Some(Err(words)) => format!("refused {words}\n"),
        None => "refused the brewhouse is stopping\n".to_owned(),
    };
    stream.get_mut().write_all(words.as_bytes()).await
}

/// Lets something happen in a brewhouse that is being served.
#[derive(Debug, Args)]
pub struct Inject {
    /// Where the brewhouse listens: what `serve --control` printed.
    #[arg(long, value_name = "ADDR")]
    at: SocketAddr,
    /// The command, as on the console of `serve`; `help` lists them.
    #[arg(required = true, trailing_var_arg = true, allow_hyphen_values = true)]
    command: Vec<String>,
}

pub fn inject(arguments: &Inject) -> Result<(), Failure> {
    let answer =
        ask(arguments.at, &arguments.command.join(" ")).map_err(|source| Failure::Unreachable {
            address: arguments.at,
            source,
        })?;
    match answer.split_once(' ') {
        Some(("done", words)) => {
            print(words.trim_end());
            Ok(())
        }
        _ => Err(Failure::Refused(
            answer.trim_start_matches("refused ").trim_end().to_owned(),
        )),
    }
}

fn ask(at: SocketAddr, line: &str) -> std::io::Result<String> {
    let mut stream = std::net::TcpStream::connect_timeout(&at, LIMIT)?;
    stream.set_read_timeout(Some(LIMIT))?;
    writeln!(stream, "{line}")?;
    let mut reader = StdReader::new(stream);
    let mut answer = String::new();
    reader.read_line(&mut answer)?;
    reader.read_to_string(&mut answer)?;
    Ok(answer)
}
