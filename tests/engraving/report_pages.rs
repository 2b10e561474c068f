//! Pages of headings, paragraphs, systems and pictures.

use crate::heard::every_case;
use crate::{collision, over_the_edge};
use fingertape::engrave::{
    Block, Engraved, Paper, System, What, pages_from_blocks, pdf_from_pages, png_from_page, svg_from_page,
    systems_from_heard,
};
use pdf_extract::extract_text_from_mem;

const FIGURE: &str = "<rect x=\"1\" y=\"1\" width=\"98\" height=\"28\" fill=\"none\" stroke=\"#000\" stroke-width=\".4\"/>\
                      <text x=\"5\" y=\"15\" font-size=\"5\">a picture from elsewhere</text>";

fn blocks(paper: Paper, times: usize) -> Vec<Block> {
    let (melody, heard) = every_case();
    let systems = systems_from_heard(&melody, &heard, Block::width_mm(paper), 8.0).systems;
    let mut blocks = vec![
        Block::Title("Every case".to_owned()),
        Block::Paragraph("Most of it is in its place. The first thing to fix is the third note: it was an F natural, and the sheet asks for F sharp. ".repeat(3)),
    ];
    for _ in 0..times {
        blocks.push(Block::Heading("What was heard".to_owned()));
        blocks.extend(systems.iter().cloned().map(Block::System));
    }
    blocks.push(Block::Figure { svg: FIGURE.to_owned(), size_mm: (100.0, 30.0) });
    blocks
}

fn of_page(engraved: &Engraved, what: What) -> Vec<usize> {
    engraved.pages.iter().map(|page| page.marks.iter().filter(|mark| mark.what == what).count()).collect()
}

#[test]
fn a_report_is_one_page_or_several_with_its_words_systems_and_pictures() {
    for paper in [Paper::Letter, Paper::A4] {
        for (times, pages) in [(1, 1), (6, 2)] {
            let engraved = pages_from_blocks("A report", &blocks(paper, times), paper);
            assert_eq!(engraved.pages.len(), pages, "{paper:?}");
            assert_eq!(engraved.remarks, []);
            assert_eq!(collision(&engraved), None);
            assert_eq!(over_the_edge(&engraved), None);
            assert_eq!(of_page(&engraved, What::HeardBox).iter().sum::<usize>(), 2 * times);
            let figures: Vec<_> = engraved.pages.iter().flat_map(|page| &page.figures).collect();
            assert_eq!(figures.len(), 1);
            let bottom = figures[0].at_mm.1 + figures[0].size_mm.1;
            assert!(bottom < paper.millimetres().1 - 15.0, "{bottom}");
            let pdf = pdf_from_pages(&engraved.pages, "A report");
            let text: String =
                extract_text_from_mem(&pdf).expect("a PDF").split_whitespace().collect::<Vec<_>>().join("");
            for words in ["Everycase", "asheard", "−23", "notheard", "apicturefromelsewhere", "beganagain"]
            {
                assert!(text.contains(words), "{words} is not in {text}");
            }
            if times == 1 {
                let path = format!("{}/target/heard-page-{paper:?}.png", env!("CARGO_MANIFEST_DIR"));
                std::fs::write(path, png_from_page(&engraved.pages[0], 90.0)).expect("a picture");
            }
        }
    }
}

#[test]
fn a_picture_that_is_no_svg_or_would_end_the_page_is_left_out_and_told() {
    for svg in ["<rect", "</svg><svg>", "<text>&nope;</text>", "<g></p>"] {
        let figure = Block::Figure { svg: svg.to_owned(), size_mm: (10.0, 10.0) };
        let engraved = pages_from_blocks("A report", &[figure], Paper::A4);
        assert_eq!(engraved.remarks.len(), 1, "{svg}");
        assert!(engraved.pages[0].figures.is_empty());
    }
    let unsized_one = Block::Figure { svg: "<g/>".to_owned(), size_mm: (f64::NAN, 10.0) };
    assert_eq!(pages_from_blocks("A report", &[unsized_one], Paper::A4).remarks.len(), 1);
}

#[test]
fn a_picture_or_system_larger_than_the_paper_is_made_smaller() {
    let (melody, heard) = every_case();
    let wide: Vec<System> = systems_from_heard(&melody, &heard, 600.0, 20.0).systems;
    let mut blocks: Vec<Block> = wide.into_iter().map(Block::System).collect();
    blocks.push(Block::Figure { svg: FIGURE.to_owned(), size_mm: (1000.0, 3000.0) });
    let engraved = pages_from_blocks("A report", &blocks, Paper::Letter);
    assert_eq!(over_the_edge(&engraved), None);
    for figure in engraved.pages.iter().flat_map(|page| &page.figures) {
        let (width, height) = Paper::Letter.millimetres();
        assert!(figure.at_mm.0 + figure.size_mm.0 <= width - 15.0);
        assert!(figure.at_mm.1 + figure.size_mm.1 <= height - 15.0);
    }
    assert!(roxmltree::Document::parse(&svg_from_page(&engraved.pages[0])).is_ok());
}

#[test]
fn a_heading_stands_on_the_page_of_the_picture_that_it_explains() {
    let explained = "What the picture shows is said before it, in two lines or so, as wide as the paper is. ";
    for lines in 0..60 {
        let mut blocks: Vec<Block> = (0..lines).map(|_| Block::Paragraph("A line.".to_owned())).collect();
        blocks.push(Block::Heading("Hereby".to_owned()));
        blocks.push(Block::Paragraph(explained.repeat(2)));
        blocks.push(Block::Figure { svg: FIGURE.to_owned(), size_mm: (100.0, 30.0) });
        let pages = pages_from_blocks("A report", &blocks, Paper::A4).pages;
        let heading = pages.iter().position(|page| svg_from_page(page).contains("Hereby"));
        let picture = pages.iter().position(|page| !page.figures.is_empty());
        assert_eq!(heading, picture, "after {lines} lines");
    }
}
