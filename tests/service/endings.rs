//! How the service ends when it is asked to.

use lauterd::store::Database;

use super::brewhouse::{Brewhouse, Site, flowing_at_once};
use super::program::Program;

#[tokio::test(flavor = "multi_thread")]
async fn either_signal_ends_it_with_code_0_and_nothing_is_lost() {
    for signal in ["TERM", "INT"] {
        let brewhouse = Brewhouse::start(&flowing_at_once("harbour-stout"), 1.0, None).await;
        let site = brewhouse.site();
        site.configure(|_| ());
        let mut program = Program::start(&site).await;
        program.start_brew(&site).await;
        let flowing_s = program
            .until_status("flow", |status| {
                let flow = status.pointer("/runoff/flow_l_min")?.as_f64()?;
                let elapsed_s = status.pointer("/runoff/elapsed_s")?.as_f64()?;
                (flow > 1.0).then_some(elapsed_s)
            })
            .await;
        let asked = std::time::Instant::now();
        let (status, log) = program.end_by(signal);
        println!("SIG{signal}: ended after {:?}", asked.elapsed());
        assert_eq!(status.code(), Some(0), "{log}");
        assert!(!log.contains("ERROR"), "{log}");
        assert!(!log.contains("not everything ended in time"), "{log}");

        // What was seen is on the disk, and the next start can go on.
        let mut database = Database::open(&site.path("store")).expect("the record");
        let tun = database.tun("harbour", "tun-1").expect("the tun");
        let brew = database.unfinished_brew(tun).expect("readable");
        let brew = brew.expect("the brew is under way");
        let events = database.events(brew.id).expect("its events");
        let last = events.last().expect("events");
        // The state is told at whole seconds; the readings come in between.
        assert!(last.at.since(brew.header.origin) > flowing_s - 1.5);
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn it_ends_in_order_with_its_instruments_gone_and_a_client_still_connected() {
    let site = Site::of(&flowing_at_once("harbour-stout"));
    site.configure(|_| ());
    let program = Program::start(&site).await;
    let idle = tokio::net::TcpStream::connect(("127.0.0.1", site.web_port)).await;
    let _idle = idle.expect("a client that asks nothing");
    let (status, log) = program.end_by("TERM");
    assert_eq!(status.code(), Some(0), "{log}");
}
