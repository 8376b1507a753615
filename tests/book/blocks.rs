//! Blocks of commands in a page, and the commands in a block.

/// A block whose head begins with `sh`.
pub struct Block {
    /// Page and line.
    pub place: String,
    /// What stands behind `sh` in the head.
    pub marks: Vec<String>,
    pub text: String,
}

/// The blocks of commands of a page.
pub fn blocks(page: &str, text: &str) -> Vec<Block> {
    let mut found = Vec::new();
    let mut open: Option<(Option<Block>, usize)> = None;
    for (number, line) in text.lines().enumerate() {
        let head = line.trim_start().strip_prefix("```");
        match (&mut open, head) {
            (None, Some(head)) => {
                let mut marks = head.trim().split(',').map(str::to_owned);
                let is_commands = marks.next().is_some_and(|language| language == "sh");
                let block = is_commands.then(|| Block {
                    place: format!("{page}:{}", number + 1),
                    marks: marks.collect(),
                    text: String::new(),
                });
                open = Some((block, number));
            }
            (Some((block, _)), Some(_)) => {
                found.extend(block.take());
                open = None;
            }
            (Some((Some(block), _)), None) => {
                block.text.push_str(line);
                block.text.push('\n');
            }
            _ => {}
        }
    }
    assert!(open.is_none(), "{page}: a block is not closed");
    found
}

/// The commands of a block: one a line, going on where a line ends with a backslash.
pub fn commands(text: &str) -> Vec<String> {
    let joined = text.replace("\\\n", " ");
    let lines = joined.lines().map(str::trim);
    lines
        .filter(|line| !line.is_empty() && !line.starts_with('#'))
        .map(str::to_owned)
        .collect()
}

/// The words of the first program in a command, without quotes, redirections and remarks.
pub fn words(line: &str) -> Vec<String> {
    let mut words = Vec::new();
    let mut word = String::new();
    let mut quote: Option<char> = None;
    let mut in_word = false;
    for c in line.chars() {
        match (quote, c) {
            (Some(open), c) if c == open => quote = None,
            (Some(_), c) => word.push(c),
            (None, '"' | '\'') => {
                quote = Some(c);
                in_word = true;
            }
            (None, '>' | '<' | '|' | ';' | '&') => break,
            (None, '#') if !in_word => break,
            (None, c) if c.is_whitespace() => {
                if in_word {
                    words.push(std::mem::take(&mut word));
                }
                in_word = false;
            }
            (None, c) => {
                word.push(c);
                in_word = true;
            }
        }
    }
    if in_word {
        words.push(word);
    }
    words
}
