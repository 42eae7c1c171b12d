//! Colour tests: contrast, and distance of colours under colour vision deficiency.

use egui::Color32;
use voicechain_editor::Palette;

/// Linear-light red, green and blue (IEC 61966-2-1).
fn linear(colour: Color32) -> [f64; 3] {
    [colour.r(), colour.g(), colour.b()].map(|part| {
        let v = f64::from(part) / 255.0;
        if v <= 0.04045 { v / 12.92 } else { ((v + 0.055) / 1.055).powf(2.4) }
    })
}

/// Contrast ratio of the Web Content Accessibility Guidelines (WCAG) 2.1: ratio of relative luminances, each plus 0.05.
fn contrast(a: Color32, b: Color32) -> f64 {
    let luminance = |colour| {
        let [r, g, b] = linear(colour);
        0.2126 * r + 0.7152 * g + 0.0722 * b
    };
    let (a, b) = (luminance(a), luminance(b));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

type Matrix = [[f64; 3]; 3];

fn times(m: &Matrix, v: [f64; 3]) -> [f64; 3] {
    m.map(|row| row.iter().zip(v).map(|(a, b)| a * b).sum())
}

/// Simulation of colour vision deficiency, as matrices on linear light: Machado, Oliveira, Fernandes, "A
/// Physiologically-based Model for Simulation of Color Vision Deficiency", IEEE TVCG 15(6), 2009, severity 1.0 (numbers
/// from memory; each row adds up to 1, so that grey stays grey).
const VISION: [(&str, Matrix); 4] = [
    ("with normal vision", [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]),
    (
        "without long-wave cones",
        [[0.152_286, 1.052_583, -0.204_868], [0.114_503, 0.786_281, 0.099_216], [-0.003_882, -0.048_116, 1.051_998]],
    ),
    (
        "without middle-wave cones",
        [[0.367_322, 0.860_646, -0.227_968], [0.280_085, 0.672_501, 0.047_413], [-0.011_820, 0.042_940, 0.968_881]],
    ),
    (
        "without short-wave cones",
        [[1.255_528, -0.076_749, -0.178_779], [-0.078_411, 0.930_809, 0.147_602], [0.004_733, 0.691_367, 0.303_900]],
    ),
];

/// CIE 1976 L*a*b* for the white point D65, from linear-light red, green and blue.
fn lab(light: [f64; 3]) -> [f64; 3] {
    const XYZ: Matrix =
        [[0.412_456, 0.357_576, 0.180_438], [0.212_673, 0.715_152, 0.072_175], [0.019_334, 0.119_192, 0.950_304]];
    let [x, y, z] = times(&XYZ, light.map(|v| v.clamp(0.0, 1.0)));
    let f = |v: f64| if v > 216.0 / 24_389.0 { v.cbrt() } else { (24_389.0 / 27.0 * v + 16.0) / 116.0 };
    let (x, y, z) = (f(x / 0.950_47), f(y), f(z / 1.088_83));
    [116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)]
}

/// Distance in CIE 1976 L*a*b*; about 2.3 is just noticeable (Mahy, Van Eycken, Oosterlinck 1994, from memory).
fn distance(a: Color32, b: Color32, vision: &Matrix) -> f64 {
    let [a, b] = [a, b].map(|colour| lab(times(vision, linear(colour))));
    a.iter().zip(b).map(|(a, b)| (a - b).powi(2)).sum::<f64>().sqrt()
}

/// WCAG 2.1, success criterion 1.4.3: contrast of at least 4.5 for text; 1.4.11: at least 3 for meaningful graphics.
#[test]
fn text_and_marks_have_sufficient_contrast() {
    // Published values: black on white has 21; #767676 is the lightest grey for text on white (from memory).
    assert!((contrast(Color32::BLACK, Color32::WHITE) - 21.0).abs() < 1e-9);
    assert!(contrast(Color32::from_gray(0x76), Color32::WHITE) >= 4.5);
    assert!(contrast(Color32::from_gray(0x77), Color32::WHITE) < 4.5);
    for dark in [false, true] {
        let palette = Palette::of(dark);
        for (name, ink) in [
            ("ink", palette.ink),
            ("quiet", palette.quiet),
            ("accent", palette.accent),
            ("reduction", palette.reduction),
            ("boost", palette.boost),
        ] {
            for (on, background) in
                [("paper", palette.paper), ("an open row", palette.selected), ("a field", palette.field)]
            {
                let ratio = contrast(ink, background);
                assert!(ratio >= 4.5, "dark {dark}: {name} on {on} {ratio:.2}");
            }
            // Lines, steps and handles cross the band; text on it is in the colour `ink`.
            let ratio = contrast(ink, palette.band);
            assert!(ratio >= if name == "ink" { 4.5 } else { 3.0 }, "dark {dark}: {name} on the band {ratio:.2}");
        }
        assert!(contrast(palette.paper, palette.accent) >= 4.5, "the tick in a checkbox");
    }
}

/// Reduction, boost and accent differ by at least ten, four times the just noticeable difference, for every kind of
/// vision.
#[test]
fn reduction_boost_and_accent_are_distinguishable() {
    // Negative control: red and green of the same lightness are distinct for normal vision, but close without
    // middle-wave cones.
    let (red, green) = (Color32::from_rgb(0xB0, 0x60, 0x40), Color32::from_rgb(0x70, 0x80, 0x3C));
    assert!(distance(red, green, &VISION[0].1) > 40.0, "{}", distance(red, green, &VISION[0].1));
    assert!(distance(red, green, &VISION[2].1) < 10.0, "{}", distance(red, green, &VISION[2].1));
    for (vision, matrix) in &VISION {
        let grey = times(matrix, [0.5; 3]);
        assert!(grey.iter().all(|v| (v - 0.5).abs() < 1e-5), "{vision}: grey stays grey");
        for dark in [false, true] {
            let palette = Palette::of(dark);
            let pairs = [
                ("accent and reduction", palette.accent, palette.reduction),
                ("accent and boost", palette.accent, palette.boost),
                ("reduction and boost", palette.reduction, palette.boost),
            ];
            for (names, a, b) in pairs {
                let far = distance(a, b, matrix);
                assert!(far >= 10.0, "{names} {vision}, dark {dark}: {far:.1}");
            }
        }
    }
}
