//! Numbers written as words.

const ONES: [&str; 20] = [
    "zero",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
    "thirteen",
    "fourteen",
    "fifteen",
    "sixteen",
    "seventeen",
    "eighteen",
    "nineteen",
];
const TENS: [&str; 8] = ["twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"];

/// The number that one lower-case word says, 0 to 99: "two", "twenty", "twenty-five". `None` for every other word.
pub fn spoken_number(word: &str) -> Option<usize> {
    let ones = |w: &str| ONES.iter().position(|o| *o == w);
    let tens = |w: &str| TENS.iter().position(|t| *t == w).map(|at| 10 * (at + 2));
    let both = word.split_once('-').and_then(|(a, b)| Some(tens(a)? + ones(b).filter(|n| (1..10).contains(n))?));
    both.or_else(|| tens(word)).or_else(|| ones(word))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_are_numbers_up_to_ninety_nine_and_nothing_else_is() {
        let said = ["zero", "two", "nineteen", "twenty", "twenty-five", "ninety-nine"].map(spoken_number);
        assert_eq!(said, [0, 2, 19, 20, 25, 99].map(Some));
        for other in ["twenty-ten", "twenty-zero", "five-twenty", "hundred", "second", "2", "", "-"] {
            assert_eq!(spoken_number(other), None, "{other}");
        }
    }
}
