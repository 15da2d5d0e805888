//! How a page looks and what it does: its style, its drawings, its script, and the policy that allows them.

use std::borrow::Cow;
use std::collections::HashSet;
use std::sync::LazyLock;

use crate::policy::{policy, source};

const STYLE: &str = include_str!("../templates/style.css");
/// [`source`] of the whole style: digests are longer in the making than a page, and this text never changes while a program
/// runs. A test holds it.
const STYLE_SOURCE: &str = "'sha256-rbAHtpwivYbp39mFrgD2/4eIgh09HSTeKWBD4aDu+mM='";
/// The marks and the hatching that drawings refer to.
const DRAWINGS: &str = include_str!("../templates/drawings.html");
const SCRIPT: &str = include_str!("../templates/script.js");
/// [`source`] of the script, held by the same test.
const SCRIPT_SOURCE: &str = "'sha256-uZCm0JUoN+TQLJMWghuGF24YPUa45Ae8j4Sj3W+7y3U='";

/// What stands in a page around its content.
#[derive(Debug)]
pub(crate) struct Look {
    pub(crate) policy: String,
    pub(crate) style: Cow<'static, str>,
    pub(crate) drawings: &'static str,
    pub(crate) script: &'static str,
}

/// All that any page may need.
static WHOLE: LazyLock<Look> = LazyLock::new(|| Look::new(STYLE.into(), DRAWINGS, SCRIPT));
static WITHOUT_SCRIPT: LazyLock<Look> = LazyLock::new(|| Look::new(STYLE.into(), DRAWINGS, ""));
/// Of a page that is yet to be given its look.
static NONE: LazyLock<Look> = LazyLock::new(|| Look::new("".into(), "", ""));

impl Look {
    fn new(style: Cow<'static, str>, drawings: &'static str, script: &'static str) -> Self {
        let known = |text: &str| match text {
            STYLE => STYLE_SOURCE.into(),
            SCRIPT => SCRIPT_SOURCE.into(),
            other => source(other),
        };
        Self { policy: policy(&known(&style), &known(script)), style, drawings, script }
    }

    pub(crate) fn whole() -> &'static Self {
        &WHOLE
    }

    pub(crate) fn without_script() -> &'static Self {
        &WITHOUT_SCRIPT
    }

    pub(crate) fn none() -> &'static Self {
        &NONE
    }

    /// What a page needs of the whole, told by the page without a look: the script where something folds, the drawings where
    /// something is drawn, and the rules of style that may hold for it or for what these two add.
    pub(crate) fn of(page: &str) -> Self {
        let drawings = if page.contains("<svg") { DRAWINGS } else { "" };
        let script = if page.contains("<details") { SCRIPT } else { "" };
        let in_tags = [page, drawings].into_iter().flat_map(tags).flat_map(words);
        let words: HashSet<&str> = in_tags.chain(words(script)).collect();
        Self::new(style_for(&words).into(), drawings, script)
    }
}

/// The tags of a page, without their brackets.
fn tags(page: &str) -> impl Iterator<Item = &str> {
    page.split('<').skip(1).filter_map(|rest| rest.split('>').next())
}

/// The names of elements, classes and identifiers in a tag, a selector or a script, and whatever else is a word there.
fn words(text: &str) -> impl Iterator<Item = &str> {
    let is_part = |c: char| c.is_ascii_alphanumeric() || c == '-';
    text.split(move |c| !is_part(c)).filter(|word| !word.is_empty())
}

/// A rule of the style.
#[derive(Debug, PartialEq, Eq)]
struct Rule {
    /// The `@media` that it stands in; empty for none.
    medium: &'static str,
    text: &'static str,
    /// For each of its selectors the names without which it holds for nothing.
    needs: Vec<Vec<&'static str>>,
}

static RULES: LazyLock<Vec<Rule>> = LazyLock::new(|| {
    let mut rules = Vec::new();
    read_rules(STYLE, "", &mut rules);
    rules
});

/// Reads rules as the style is written: comments before rules alone, no braces but those of rules and media.
fn read_rules(style: &'static str, medium: &'static str, rules: &mut Vec<Rule>) {
    let mut rest = style.trim_start();
    while let Some((head, body)) = rest.split_once('{') {
        if let Some((_, behind)) = rest.strip_prefix("/*").and_then(|comment| comment.split_once("*/")) {
            rest = behind.trim_start();
        } else if head.starts_with("@media") {
            let (inside, behind) = body.split_once("\n}").unwrap_or((body, ""));
            read_rules(inside, head.trim_end(), rules);
            rest = behind.trim_start();
        } else {
            let (inside, behind) = body.split_once('}').unwrap_or((body, ""));
            let text = rest.get(..head.len() + inside.len() + 2).unwrap_or(rest);
            rules.push(Rule { medium, text, needs: selectors(head).map(needed).collect() });
            rest = behind.trim_start();
        }
    }
}

/// The selectors of a list, parted by commas outside brackets.
fn selectors(list: &'static str) -> impl Iterator<Item = &'static str> {
    let mut depth = 0;
    list.split(move |c| {
        depth += i32::from(c == '(') - i32::from(c == ')');
        c == ',' && depth == 0
    })
}

/// The names in a selector; what stands behind the first that is more than a name is taken to hold everywhere.
fn needed(selector: &'static str) -> Vec<&'static str> {
    words(selector.split([':', '[', '(', '@']).next().unwrap_or_default()).collect()
}

/// The rules that may hold for a page with these words, in their order.
fn style_for(words: &HashSet<&str>) -> String {
    let mut style = String::new();
    let may_hold =
        |rule: &&Rule| rule.needs.iter().any(|names| names.iter().all(|name| words.contains(name)));
    let kept: Vec<&Rule> = RULES.iter().filter(may_hold).collect();
    for group in kept.chunk_by(|a, b| a.medium == b.medium) {
        let medium = group.first().map_or("", |rule| rule.medium);
        let rules = group.iter().flat_map(|rule| [rule.text, "\n"]);
        if medium.is_empty() {
            style.extend(rules);
        } else {
            style.extend([medium, " {\n"].into_iter().chain(rules).chain(["}\n"]));
        }
    }
    style
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Without blanks and comments.
    fn bare(style: &str) -> String {
        let parts = style.split("/*").enumerate();
        let code = parts.map(|(at, part)| if at == 0 { part } else { part.split_once("*/").unwrap().1 });
        code.collect::<String>().split_whitespace().collect()
    }

    #[test]
    fn the_digests_at_hand_are_those_of_style_and_script() {
        assert_eq!(STYLE_SOURCE, source(STYLE), "the style was changed: its digest is on the right");
        assert_eq!(SCRIPT_SOURCE, source(SCRIPT), "the script was changed: its digest is on the right");
    }

    #[test]
    fn all_rules_together_are_the_style() {
        let names = RULES.iter().flat_map(|rule| rule.needs.iter().flatten().copied()).collect();
        assert_eq!(bare(&style_for(&names)), bare(STYLE));
    }

    #[test]
    fn a_page_gets_the_rules_that_may_hold_for_it() {
        let page = "<h1>Ada</h1><p class=\"urgent next\"></p>";
        let style = Look::of(page).style;
        for rule in ["* {", "h1, h2, h3", "\np {", ".urgent {", ".verdict, .next {", "@page {", ":root {"] {
            assert!(style.contains(rule), "{rule}");
        }
        for rule in ["th, td {", ".slip {", "path", "#squad {", ".questions .urgent", "max-width: 24rem"] {
            assert!(!style.contains(rule), "{rule}");
        }
    }

    #[test]
    fn script_and_drawings_bring_the_rules_for_what_they_add() {
        let look = Look::of("<details><table><thead></thead></table></details>");
        assert!(look.script == SCRIPT && look.drawings.is_empty() && look.style.contains("thead button {"));
        let look = Look::of("<svg class=\"mark\"></svg>");
        assert!(look.script.is_empty() && look.drawings == DRAWINGS && look.style.contains(".frame {"));
    }
}
