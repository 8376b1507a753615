//! What is said of a device that answers, but nothing that could be believed.

use std::time::Duration;

use lauter_core::supervisor::LinkState;
use tokio::io::AsyncWriteExt;
use tokio::net::TcpListener;

use super::super::testing::register;
use super::device::{Act, Asked, listener, rtu, serve};
use super::watched::{Watched, is_down, is_value};
use crate::config::model::Transport;

/// What people are told of the link on which every request is answered by `answer`.
async fn told_of(answer: impl Fn(Asked) -> Act + Send + Sync + 'static) -> String {
    let (listener, address) = listener().await;
    serve(listener, move |_, asked| answer(asked));
    let mut watched = Watched::tcp_within(&address, 150, vec![register(3, 7)]);
    let detail = watched.until_link(LinkState::Down).await;
    assert!(detail.starts_with(&address), "{detail}");
    assert!(
        detail.contains("unit 3") && detail.contains("input register 7"),
        "{detail}"
    );
    assert!(!detail.contains("did not answer"), "{detail}");
    for word in ["Header", "Error", "Custom", "Invalid", "os error"] {
        assert!(!detail.contains(word), "the library's own words: {detail}");
    }
    watched.stop().await;
    detail
}

#[tokio::test]
async fn a_program_that_speaks_something_else_is_said_to_send_garbage_and_where_to_look() {
    let detail = told_of(|_| Act::Send(b"HTTP/1.1 400 Bad Request\r\n\r\n".to_vec())).await;
    assert!(detail.contains("sent garbage"), "{detail}");
    assert!(detail.contains("48 54 54 50"), "its first bytes: {detail}");
    assert!(detail.contains("port"), "{detail}");
}

#[tokio::test]
async fn half_an_answer_is_said_to_be_garbage_and_not_silence() {
    let detail = told_of(|asked| Act::Send(asked.tcp(&asked.honest_body())[..8].to_vec())).await;
    assert!(
        detail.contains("sent garbage") && detail.contains("8 bytes"),
        "{detail}"
    );
}

#[tokio::test]
async fn another_functions_answer_is_said_to_belong_to_another_request() {
    let detail = told_of(|asked| {
        let honest = asked.honest_body();
        Act::Send(asked.tcp(&[&[asked.unit_id, 0x03], &honest[2..]].concat()))
    })
    .await;
    assert!(
        detail.contains("another request") && detail.contains("function 03 for 04"),
        "{detail}"
    );
    assert!(detail.contains("second master"), "{detail}");
}

#[tokio::test]
async fn an_answer_under_another_number_is_said_so_without_the_librarys_words() {
    let detail = told_of(|asked| {
        let transaction = asked.transaction.wrapping_add(7);
        Act::Send(
            Asked {
                transaction,
                ..asked
            }
            .tcp(&asked.honest_body()),
        )
    })
    .await;
    assert!(
        detail.contains("another unit or transaction number"),
        "{detail}"
    );
}

#[tokio::test]
async fn a_device_that_hangs_up_is_said_to_break_the_connection() {
    let detail = told_of(|_| Act::Close).await;
    assert!(detail.contains("the connection broke"), "{detail}");
}

/// A wrong baud rate or parity makes every answer unreadable; RTU then looks like silence to the library.
#[tokio::test]
async fn a_serial_line_whose_answers_cannot_be_read_is_said_to_send_garbage_and_to_check_the_baud_rate()
 {
    let (listener, address) = listener().await;
    tokio::spawn(async move {
        while let Ok((mut stream, _)) = listener.accept().await {
            tokio::spawn(async move {
                while let Some(asked) = Asked::receive_rtu(&mut stream).await {
                    let mut reply = rtu(&asked.honest_body());
                    for byte in &mut reply {
                        *byte ^= 0x55;
                    }
                    if stream.write_all(&reply).await.is_err() {
                        return;
                    }
                }
            });
        }
    });
    let points = vec![register(3, 7)];
    let mut watched = Watched::start(Transport::RtuOverTcp(address), 100, points);
    let detail = watched.until_link(LinkState::Down).await;
    assert!(
        detail.contains("sent garbage") && detail.contains("baud rate"),
        "{detail}"
    );
    assert!(
        detail.contains("unit 3") && detail.contains("input register 7"),
        "{detail}"
    );
    watched.stop().await;
}

/// Answers every RTU request byte by byte, so long apart.
fn dribbles(listener: TcpListener, apart: Duration) {
    tokio::spawn(async move {
        while let Ok((mut stream, _)) = listener.accept().await {
            stream.set_nodelay(true).unwrap();
            tokio::spawn(async move {
                while let Some(asked) = Asked::receive_rtu(&mut stream).await {
                    for byte in rtu(&asked.honest_body()) {
                        tokio::time::sleep(apart).await;
                        if stream.write_all(&[byte]).await.is_err() {
                            return;
                        }
                    }
                }
            });
        }
    });
}

#[tokio::test]
async fn an_answer_that_comes_byte_by_byte_in_time_is_a_value() {
    let (listener, address) = listener().await;
    dribbles(listener, Duration::from_millis(2));
    let points = vec![register(3, 7), register(3, 20)];
    let mut watched = Watched::start(Transport::RtuOverTcp(address), 2_000, points);
    watched.until_value(1, 1020.0).await;
    watched.readings(6).await;
    watched.assert_only_own_values(&[7, 20]);
    assert_eq!(watched.count(is_down), 0);
    watched.stop().await;
}

#[tokio::test]
async fn a_device_that_dribbles_beyond_its_time_gives_no_value_and_is_not_called_silent() {
    let (listener, address) = listener().await;
    dribbles(listener, Duration::from_millis(60));
    let points = vec![register(3, 7)];
    let mut watched = Watched::start(Transport::RtuOverTcp(address), 150, points);
    let detail = watched.until_link(LinkState::Down).await;
    assert!(detail.contains("no whole answer"), "{detail}");
    assert_eq!(watched.count(|arrival| is_value(arrival, 0, 1007.0)), 0);
    watched.stop().await;
}

#[tokio::test]
async fn a_link_whose_device_answers_nothing_useful_does_not_keep_another_waiting() {
    let (bad, bad_address) = listener().await;
    dribbles(bad, Duration::from_millis(60));
    let (good, good_address) = listener().await;
    serve(good, |_, asked| Act::Send(asked.tcp(&asked.honest_body())));
    let troubled = Watched::start(
        Transport::RtuOverTcp(bad_address),
        150,
        vec![register(3, 7)],
    );
    let mut well = Watched::tcp(&good_address, vec![register(1, 9)]);
    let mut heard = 0;
    while troubled.figures().timeouts + troubled.figures().faults < 4 {
        well.until_value(0, 1009.0).await;
        heard += 1;
    }
    assert!(heard > 8, "{heard}");
    assert_eq!(well.count(is_down), 0);
    troubled.stop().await;
    well.stop().await;
}
