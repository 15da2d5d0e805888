//! What a page lets a browser do: its own style and script by their digests, and nothing else.

use base64ct::{Base64, Encoding};
use sha2::{Digest, Sha256};

/// The content-security-policy of a page that holds a style and a script from these sources as the whole text of their elements
/// (W3C, Content Security Policy Level 3, section 2.3.1 on digests).
pub(crate) fn policy(style: &str, script: &str) -> String {
    format!("default-src 'none'; style-src {style}; script-src {script}; base-uri 'none'; form-action 'none'")
}

/// The source that allows a text by its digest; none where there is no text.
pub(crate) fn source(text: &str) -> String {
    match text {
        "" => "'none'".to_owned(),
        text => format!("'sha256-{}'", Base64::encode_string(&Sha256::digest(text))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_digest_is_the_one_of_the_standard() {
        // The example of CSP Level 3, section 8.4: `alert('Hello, world.');`; from memory, and the same by openssl.
        let known = "'sha256-qznLcsROx4GACP2dm0UCKCzCG+HiZ1guq6ZZDob/Tng='";
        assert_eq!(source("alert('Hello, world.');"), known);
        assert_eq!(source(""), "'none'");
    }
}
