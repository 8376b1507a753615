//! How a list of words in two languages is written down: each key with English and German side by side, so that the
//! compiler finds who forgets one.

macro_rules! words {
    ($($key:ident: $english:literal / $german:literal;)+) => {
        /// One language.
        #[derive(Debug)]
        pub struct Words { $(pub $key: &'static str,)+ }
        static ENGLISH: Words = Words { $($key: $english,)+ };
        static GERMAN: Words = Words { $($key: $german,)+ };
        #[cfg(test)]
        const PAIRS: &[(&str, &str, &str)] = &[$((stringify!($key), $english, $german),)+];
    };
}
