//! `lauterd user` and `lauterd token`: who may come in. They change the users' file; no service is needed.

use std::io::{self, BufRead as _, IsTerminal as _};
use std::path::PathBuf;

use clap::{Args, Subcommand};
use jiff::{SignedDuration, Timestamp};

use super::sample::finite;
use super::text::print;
use crate::access::{
    LONGEST_PASSWORD, Role, SHORTEST_PASSWORD, Token, User, UsersFile, UsersFileError, hashed,
    new_token, token_digest,
};
use crate::clock::wall_now;
use crate::config;
use crate::exit::{Failure, Kind};

/// Adds, removes and lists the people who may sign in
///
/// A running service sees a change at once: a removed user is out with the next request.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  lauterd user add anna --role operate --config /etc/lauterd/lauterd.toml
  lauterd user add chief --role engineer --users-file users.toml < password.txt
  lauterd user list
  lauterd user remove anna

Roles: watch sees everything; operate also starts and ends brews, gives samples and notes and
answers alarms; engineer also takes alarms out of service and resets what was learnt.")]
pub struct UserArguments {
    #[command(subcommand)]
    command: UserCommand,
    #[command(flatten)]
    file: FileOptions,
}

#[derive(Debug, Subcommand)]
enum UserCommand {
    /// Adds a person, or gives them a new password and role. The password is asked for; it may come on standard input
    Add {
        /// The name that goes into the trail
        #[arg(value_name = "NAME")]
        name: String,
        /// What they may do
        #[arg(long)]
        role: Role,
    },
    /// Removes a person
    Remove {
        #[arg(value_name = "NAME")]
        name: String,
    },
    /// Lists the people and their roles
    List,
}

/// Makes, removes and lists the tokens of programs
///
/// A token is shown once, when it is made: only a digest of it is kept.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  lauterd token add dashboard --role watch
  lauterd token add tun-panel --role operate --days 365 > tun-panel.token
  lauterd token list
  lauterd token remove dashboard")]
pub struct TokenArguments {
    #[command(subcommand)]
    command: TokenCommand,
    #[command(flatten)]
    file: FileOptions,
}

#[derive(Debug, Subcommand)]
enum TokenCommand {
    /// Makes a token and prints it
    Add {
        /// The name that goes into the trail
        #[arg(value_name = "NAME")]
        name: String,
        /// What the program may do
        #[arg(long)]
        role: Role,
        /// After so many days it is not taken any more
        #[arg(long, value_name = "DAYS", value_parser = finite)]
        days: Option<f64>,
    },
    /// Removes a token
    Remove {
        #[arg(value_name = "NAME")]
        name: String,
    },
    /// Lists the tokens' names, roles and ends
    List,
}

/// Which file
#[derive(Debug, Args)]
struct FileOptions {
    /// The service's configuration: its [web] users_file is used [default: /etc/lauterd/lauterd.toml]
    #[arg(
        long,
        global = true,
        value_name = "FILE",
        conflicts_with = "users_file"
    )]
    config: Option<PathBuf>,
    /// The users' file itself
    #[arg(long, global = true, value_name = "FILE")]
    users_file: Option<PathBuf>,
}

const DEFAULT_CONFIG: &str = "/etc/lauterd/lauterd.toml";

impl FileOptions {
    fn path(&self) -> Result<PathBuf, Failure> {
        if let Some(file) = &self.users_file {
            return Ok(file.clone());
        }
        let config = self.config.clone().unwrap_or_else(|| DEFAULT_CONFIG.into());
        let configuration = config::load_offline(&config)?;
        configuration.web.users_file.ok_or_else(|| {
            Failure::new(
                Kind::Configuration,
                format!(
                    "{}: web.users_file is not set; name a file there, such as /etc/lauterd/users.toml, or give \
                     --users-file",
                    config.display()
                ),
            )
        })
    }
}

impl From<UsersFileError> for Failure {
    fn from(error: UsersFileError) -> Self {
        let kind = match &error {
            UsersFileError::Unreadable { source, .. }
                if source.kind() == io::ErrorKind::NotFound =>
            {
                Kind::NoInput
            }
            UsersFileError::Wrong { .. } => Kind::Data,
            UsersFileError::Unreadable { .. }
            | UsersFileError::Unwritable { .. }
            | UsersFileError::Locked { .. } => Kind::Io,
        };
        Self::new(kind, error.to_string())
    }
}

pub fn user(arguments: &UserArguments) -> Result<(), Failure> {
    let path = arguments.file.path()?;
    match &arguments.command {
        UserCommand::Add { name, role } => {
            let password = hashed(&password(name)?)
                .map_err(|error| Failure::new(Kind::Io, error.to_string()))?;
            let user = User {
                name: name.clone(),
                role: *role,
                password,
            };
            let known = UsersFile::change(&path, |file| put_user(file, user))?;
            let done = if known { "changed" } else { "added" };
            print(&format!("user {name} {done}, role {}\n", role.name()))
        }
        UserCommand::Remove { name } => {
            UsersFile::change(&path, |file| {
                let before = file.users.len();
                file.users.retain(|user| user.name != *name);
                gone(before == file.users.len(), "user", name)
            })?;
            print(&format!("user {name} removed\n"))
        }
        UserCommand::List => {
            let file = UsersFile::read(&path)?;
            let rows = file.users.iter().map(|user| {
                let role = user.role.name();
                format!("{role:<9} {}\n", user.name)
            });
            print(&rows.collect::<String>())
        }
    }
}

pub fn token(arguments: &TokenArguments) -> Result<(), Failure> {
    let path = arguments.file.path()?;
    match &arguments.command {
        TokenCommand::Add { name, role, days } => {
            let token = new_token().map_err(|error| Failure::new(Kind::Io, error.to_string()))?;
            let known = Token {
                name: name.clone(),
                role: *role,
                digest: token_digest(&token),
                until: (*days).map(ends).transpose()?,
            };
            UsersFile::change(&path, |file| {
                if file.is_taken(name) {
                    return Err(taken(name));
                }
                file.tokens.push(known);
                Ok(())
            })?;
            print(&format!("{token}\n"))
        }
        TokenCommand::Remove { name } => {
            UsersFile::change(&path, |file| {
                let before = file.tokens.len();
                file.tokens.retain(|token| token.name != *name);
                gone(before == file.tokens.len(), "token", name)
            })?;
            print(&format!("token {name} removed\n"))
        }
        TokenCommand::List => {
            let file = UsersFile::read(&path)?;
            let rows = file.tokens.iter().map(|token| {
                let role = token.role.name();
                let until = token
                    .until
                    .map_or(String::new(), |until| format!(", until {until}"));
                format!("{role:<9} {}{until}\n", token.name)
            });
            print(&rows.collect::<String>())
        }
    }
}

/// Whether the person was known already.
fn put_user(file: &mut UsersFile, user: User) -> Result<bool, String> {
    if let Some(known) = file.users.iter_mut().find(|known| known.name == user.name) {
        *known = user;
        return Ok(true);
    }
    if file.is_taken(&user.name) {
        return Err(taken(&user.name));
    }
    file.users.push(user);
    Ok(false)
}

fn taken(name: &str) -> String {
    format!("{name} is there already; each name is for one user or token")
}

fn gone(nothing: bool, what: &str, name: &str) -> Result<(), String> {
    if nothing {
        return Err(format!("there is no {what} {name}"));
    }
    Ok(())
}

fn ends(days: f64) -> Result<Timestamp, Failure> {
    let wrong = || {
        Failure::new(
            Kind::Usage,
            format!("--days is {days}; needed is more than 0"),
        )
    };
    if days <= 0.0 {
        return Err(wrong());
    }
    let age = SignedDuration::try_from_secs_f64(86_400.0 * days).map_err(|_| wrong())?;
    wall_now().checked_add(age).map_err(|_| wrong())
}

/// Typed twice at a terminal, or the first line of standard input.
fn password(name: &str) -> Result<String, Failure> {
    let unread =
        |error: io::Error| Failure::new(Kind::Io, format!("no password was read: {error}"));
    let password = if io::stdin().is_terminal() {
        let first = rpassword::prompt_password(format!("Password for {name}: ")).map_err(unread)?;
        let second = rpassword::prompt_password("Once more: ").map_err(unread)?;
        if first != second {
            return Err(Failure::new(
                Kind::Data,
                "the two passwords differ; try again",
            ));
        }
        first
    } else {
        let mut line = String::new();
        io::stdin().lock().read_line(&mut line).map_err(unread)?;
        line.trim_end_matches(['\r', '\n']).to_owned()
    };
    if password.chars().count() < SHORTEST_PASSWORD || password.len() > LONGEST_PASSWORD {
        return Err(Failure::new(
            Kind::Data,
            format!(
                "the password must have {SHORTEST_PASSWORD} characters or more, and at most {LONGEST_PASSWORD} bytes; \
                 some words in a row are easy to keep in mind"
            ),
        ));
    }
    Ok(password)
}
