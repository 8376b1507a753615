//! The service from its start to its end, over new configurations.
//!
//! Owns what a reload may change: everything, or nothing. The new files are read and checked whole before anything is
//! touched; a brew under way must fit them; and if the new service cannot start after all, the old one is started again.
//! A brew goes on over a reload as over any restart: from its record.

use super::tun::{configuration_instruments, same_instruments};
use super::{Ending, Options, Service, Signals, check};
use crate::config::Configuration;
use crate::exit::{Failure, Kind};

/// Runs the service until it is stopped. `load` reads the configuration, at the start and for each reload.
pub async fn serve(
    load: impl Fn() -> Result<Vec<Configuration>, Failure>,
    options: Options,
    signals: &Signals,
) -> Result<(), Failure> {
    let mut current = load()?;
    // Whoever asks for the end does not wait for a disk or a broker that does not answer.
    let stop = &signals.stop;
    let begin = |configurations: &Vec<Configuration>| {
        let start = Service::start(configurations.clone(), options.clone());
        stop.run_until_cancelled(Box::pin(start))
    };
    let Some(started) = begin(&current).await else {
        return stopped();
    };
    let mut service = started?;
    loop {
        announce(&service);
        let ending = watch(&mut service, signals).await;
        match ending {
            Ending::Stopped => {
                service.end().await;
                return Ok(());
            }
            Ending::Failed(failure) => {
                service.end().await;
                return Err(failure);
            }
            Ending::Reload => {}
        }
        let new = match stop.run_until_cancelled(accepted(&service, &load)).await {
            Some(Some(new)) => new,
            Some(None) => continue,
            None => {
                service.end().await;
                return stopped();
            }
        };
        service.end().await;
        let failure = match begin(&new).await {
            None => return stopped(),
            Some(Ok(started)) => {
                tracing::info!("the new configuration is in force");
                current = new;
                service = started;
                continue;
            }
            Some(Err(failure)) => failure,
        };
        tracing::error!(
            "the new configuration cannot be started with, the old one goes on: {failure}"
        );
        let Some(started) = begin(&current).await else {
            return stopped();
        };
        service = started?;
    }
}

/// The end in the middle of a start.
#[allow(
    clippy::unnecessary_wraps,
    reason = "the answer of those who return it"
)]
fn stopped() -> Result<(), Failure> {
    let _ = sd_notify::notify(&[sd_notify::NotifyState::Stopping]);
    Ok(())
}

fn announce(service: &Service) {
    for tun in &service.tuns {
        tracing::info!("watching {}/{}", tun.site, tun.tun);
    }
    for address in &service.listening {
        let encrypted = service.encrypted.contains(address);
        let scheme = if encrypted { "https" } else { "http" };
        tracing::info!("listening on {scheme}://{address}");
    }
}

async fn watch(service: &mut Service, signals: &Signals) -> Ending {
    let stopper = service.stopper();
    let stop = signals.stop.clone();
    let passed_on = tokio::spawn(async move {
        stop.cancelled().await;
        stopper.cancel();
    });
    let ending = service.watch_over(&signals.reload).await;
    passed_on.abort();
    ending
}

/// The new configuration, if it can be taken whole.
async fn accepted(
    service: &Service,
    load: &impl Fn() -> Result<Vec<Configuration>, Failure>,
) -> Option<Vec<Configuration>> {
    let reloading = sd_notify::NotifyState::monotonic_usec_now()
        .map(|now| sd_notify::notify(&[sd_notify::NotifyState::Reloading, now]));
    if !matches!(reloading, Ok(Ok(()))) {
        tracing::debug!("the service manager was not told of the reload");
    }
    let outcome = async {
        let new = load()?;
        check(&new)?;
        fits(service, &new).await?;
        Ok::<_, Failure>(new)
    };
    match outcome.await {
        Ok(new) => Some(new),
        Err(failure) => {
            tracing::error!(
                "the configuration was not taken, everything goes on as it was: {failure}"
            );
            None
        }
    }
}

/// A brew under way keeps its tun, its record and its instruments. What is in memory alone is not given up for new
/// settings.
async fn fits(service: &Service, new: &[Configuration]) -> Result<(), Failure> {
    for (tun, current) in service.tuns.iter().zip(&service.configurations) {
        let Ok(status) = tun.status().await else {
            continue;
        };
        if status.health["store"]["unwritten_s"].is_number() {
            return Err(Failure::new(
                Kind::Io,
                format!(
                    "the record of {}/{} is not being written, and what waits in memory would be lost; mend its disk \
                     first, then reload again",
                    tun.site, tun.tun
                ),
            ));
        }
        let Some(brew) = status.brew else {
            continue;
        };
        let same = |new: &&Configuration| {
            new.site == current.site
                && new.tun.name == current.tun.name
                && new.store.directory == current.store.directory
                && same_instruments(
                    &configuration_instruments(current),
                    &configuration_instruments(new),
                )
        };
        if !new.iter().any(|new| same(&new)) {
            return Err(Failure::new(
                Kind::Configuration,
                format!(
                    "brew {brew} is under way on {}/{}, and the new files give it another record or other instruments; \
                     end the brew first (lauterd brew end)",
                    tun.site, tun.tun
                ),
            ));
        }
    }
    Ok(())
}
