//! Pictures as they come: made small, turned upright, refused where they are too much or none.

use image::{ImageFormat, Rgb, RgbImage, Rgba, RgbaImage};
use proptest::prelude::*;

use super::{Cursor, Picture, PictureError, is_beside};

fn bytes(image: &image::DynamicImage, format: ImageFormat) -> Vec<u8> {
    let mut bytes = Vec::new();
    image
        .write_to(&mut Cursor::new(&mut bytes), format)
        .unwrap();
    bytes
}

fn plate(width: u32, height: u32) -> image::DynamicImage {
    RgbImage::from_fn(width, height, |x, _| {
        if x < width / 2 {
            Rgb([250, 250, 250])
        } else {
            Rgb([20, 40, 60])
        }
    })
    .into()
}

#[test]
fn a_large_one_is_made_small_and_kept_as_what_it_was() {
    for (format, ending) in [(ImageFormat::Png, "png"), (ImageFormat::Jpeg, "jpg")] {
        let picture = Picture::of(&bytes(&plate(3_000, 1_500), format)).unwrap();
        assert_eq!(picture.size(), (1_024, 512));
        assert_eq!(picture.full(), (3_000, 1_500));
        let (kept, own) = picture.packed().unwrap();
        assert_eq!(own, ending);
        let again = Picture::of(&kept).unwrap();
        assert_eq!((again.size(), again.full()), ((1_024, 512), (1_024, 512)));
        let right = again.rgb().chunks(3).nth(1_000).unwrap();
        assert!(right[0] < 60 && right[2] > 30, "{right:?}");
    }
}

#[test]
fn what_is_clear_in_it_is_white_paper() {
    let clear = RgbaImage::from_pixel(4, 4, Rgba([0, 0, 0, 0]));
    let picture = Picture::of(&bytes(&clear.into(), ImageFormat::Png)).unwrap();
    assert!(picture.rgb().iter().all(|part| *part == 255));
}

/// The head of a PNG that says it is so large, and has nothing behind.
fn claims(width: u32, height: u32) -> Vec<u8> {
    let mut head = b"IHDR".to_vec();
    head.extend(width.to_be_bytes());
    head.extend(height.to_be_bytes());
    head.extend([8, 6, 0, 0, 0]);
    let mut png = b"\x89PNG\r\n\x1a\n\0\0\0\x0d".to_vec();
    png.extend(&head);
    png.extend(evendraw_core::crc::crc32(0, &head).to_be_bytes());
    png.extend([0, 0, 0, 0]);
    png.extend(b"IDAT");
    png.extend(evendraw_core::crc::crc32(0, b"IDAT").to_be_bytes());
    png
}

#[test]
fn one_that_claims_to_be_huge_is_refused_before_it_is_unpacked() {
    for (width, height) in [
        (u32::MAX, u32::MAX),
        (60_000, 60_000),
        (16_385, 1),
        (8_000, 8_000),
    ] {
        let error = Picture::of(&claims(width, height)).unwrap_err();
        assert!(
            matches!(error, PictureError::Large(_) | PictureError::Broken(_)),
            "{error}"
        );
    }
    let error = Picture::of(&claims(8_000, 8_000)).unwrap_err().to_string();
    assert!(
        error.contains("8000 × 8000") && error.contains("allowed: 32 million"),
        "{error}"
    );
    let error = Picture::of(&claims(90, 90)).unwrap_err();
    assert!(matches!(error, PictureError::Broken(_)), "{error}");
}

#[test]
fn what_is_no_picture_says_what_is() {
    for other in [
        &b""[..],
        b"P6 1 1 255 abc",
        b"GIF89a\x01\0\x01\0",
        b"<svg/>",
    ] {
        let error = Picture::of(other).unwrap_err();
        assert!(
            error.to_string().contains("PNG or JPEG")
                || error.to_string().contains("neither PNG nor JPEG"),
            "{error}"
        );
    }
    let folder = std::env::temp_dir();
    assert!(matches!(Picture::read(&folder), Err(PictureError::NoFile)));
}

#[test]
fn only_a_name_in_the_same_folder_is_taken() {
    for name in ["pump.png", "Pump 7.JPG", "a.b.jpeg"] {
        assert!(is_beside(name), "{name}");
    }
    for name in [
        "",
        "pump",
        "pump.svg",
        "../pump.png",
        "/dev/zero",
        "a/b.png",
        "c:\\a.png",
        ".png",
        "C:a.png",
    ] {
        assert!(!is_beside(name), "{name}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    /// Whatever is wrong in a file, it is a picture or an error.
    #[test]
    fn a_file_with_anything_wrong_in_it_is_a_picture_or_an_error(
        png in any::<bool>(),
        changes in proptest::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 0..6),
        cut in any::<prop::sample::Index>(),
        is_cut in any::<bool>(),
    ) {
        let format = if png { ImageFormat::Png } else { ImageFormat::Jpeg };
        let mut file = bytes(&plate(24, 16), format);
        for (at, byte) in changes {
            let at = at.index(file.len());
            file[at] = byte;
        }
        if is_cut {
            file.truncate(cut.index(file.len()));
        }
        if let Ok(picture) = Picture::of(&file) {
            let (width, height) = picture.size();
            prop_assert_eq!(picture.rgb().len() as u64, u64::from(width) * u64::from(height) * 3);
        }
    }
}
