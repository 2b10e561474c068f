//! The overview as one HTML file: the pages as pictures, and everything in them once more as a table of words.

use super::gradebook::{Cell, GRADEBOOK_COLUMNS, gradebook};
use super::student_result::StudentResult;
use super::students_from_table::shown;
use crate::engrave::{Page, svg_from_page};
use std::fmt::Write;

/// One HTML file that asks the network for nothing. `links` are where each student's own page is; empty where there is none.
pub fn html_from_overview(
    pages: &[Page],
    results: &[StudentResult],
    links: &[String],
    title: &str,
) -> String {
    let title = escaped(&shown(title));
    let mut out = format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'; font-src data:\">\n\
         <meta name=\"viewport\" content=\"width=device-width\">\n<title>{title}</title>\n<style>\n\
         body {{ margin: 1.5em auto; max-width: 216mm; color: #000; background: #fff; font: 1em/1.4 sans-serif; }}\n\
         svg {{ display: block; width: 100%; height: auto; margin-bottom: 1em; }}\n\
         .unseen {{ position: absolute; width: 1px; height: 1px; overflow: hidden; clip-path: inset(50%); }}\n\
         .wide {{ overflow-x: auto; }}\n\
         @media (min-width: 1100px) {{ .wide {{ width: 96vw; margin-left: calc(50% - 48vw); }} }}\n\
         @media (max-width: 840px) {{ body {{ margin: 0.6em; }} }}\n\
         th, td {{ max-width: 14em; overflow-wrap: break-word; }}\n\
         th {{ min-width: 4em; }}\n\
         td:last-child {{ min-width: 16em; max-width: none; }}\n\
         a {{ color: inherit; }}\n\
         table {{ border-collapse: collapse; font-size: 0.85em; }}\n\
         th, td {{ text-align: left; vertical-align: top; padding: 0.2em 0.8em 0.2em 0; border-bottom: 1px solid #000; }}\n\
         @media print {{ .wide {{ display: none; }} svg {{ break-after: page; }} }}\n\
         </style>\n</head>\n<body>\n<h1 class=\"unseen\">{title}</h1>\n"
    );
    for page in pages {
        out.push_str(&svg_from_page(page));
    }
    out.push_str("<h2>The marks as a table</h2>\n<div class=\"wide\" tabindex=\"0\" role=\"region\" aria-label=\"Table of marks\"><table>\n<thead><tr>");
    for column in GRADEBOOK_COLUMNS {
        // Writing into a String cannot fail, here and below.
        let _ = write!(out, "<th scope=\"col\">{column}</th>");
    }
    out.push_str("</tr></thead>\n<tbody>\n");
    for (line, row) in gradebook(results).iter().enumerate() {
        out.push_str("<tr>");
        for (at, cell) in row.iter().enumerate() {
            let text = match cell {
                Cell::Number(number) => number.to_string(),
                Cell::Text(text) => escaped(text),
            };
            let _ = match at {
                0 => match links.get(line).filter(|link| !link.is_empty()) {
                    Some(link) => {
                        write!(out, "<th scope=\"row\"><a href=\"{}\">{text}</a></th>", escaped(link))
                    }
                    None => write!(out, "<th scope=\"row\">{text}</th>"),
                },
                _ => write!(out, "<td>{text}</td>"),
            };
        }
        out.push_str("</tr>\n");
    }
    out.push_str("</tbody>\n</table></div>\n</body>\n</html>\n");
    out
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}
