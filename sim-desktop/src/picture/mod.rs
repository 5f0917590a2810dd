//! A picture of the part, PNG or JPEG: read within limits, made small, kept beside the plan, laid under the map.
//!
//! A file from outside may claim any size: what it says of itself is looked at before a pixel is unpacked. Knows nothing of joints.

mod laid;

use std::fmt;
use std::fs::File;
use std::io::{self, Cursor, Read as _};
use std::path::Path;

use image::codecs::jpeg::JpegEncoder;
use image::codecs::png::{CompressionType, FilterType, PngEncoder};
use image::{DynamicImage, ImageDecoder as _, ImageError, ImageFormat};

use crate::limits::{
    PICTURE_BYTES_MAX, PICTURE_KEPT_BYTES, PICTURE_KEPT_SIDE, PICTURE_MEMORY_MAX,
    PICTURE_PIXELS_MAX, PICTURE_SIDE_MAX,
};

pub use laid::Laid;

/// The endings that a picture's file may have.
pub const ENDINGS: [&str; 3] = ["png", "jpg", "jpeg"];

/// Whether a name is that of a picture, in the same folder as what names it.
#[must_use]
pub fn is_beside(name: &str) -> bool {
    let ending = name.rsplit_once('.').map(|(_, ending)| ending);
    let is_known = ending.is_some_and(|ending| {
        ENDINGS
            .iter()
            .any(|known| known.eq_ignore_ascii_case(ending))
    });
    is_known && !name.contains(['/', '\\', ':']) && !name.starts_with('.')
}

/// Why a picture cannot be had.
#[derive(Debug)]
#[non_exhaustive]
pub enum PictureError {
    /// The system's.
    Io(io::Error),
    /// A folder, a pipe, a device.
    NoFile,
    /// Neither PNG nor JPEG.
    Unknown,
    /// Longer than a picture may be.
    Long,
    /// More pixels than a picture may have, as far as it says how many.
    Large(Option<(u32, u32)>),
    /// It begins like a picture, and is none.
    Broken(String),
}

impl fmt::Display for PictureError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Io(error) => error.fmt(f),
            Self::NoFile => f.write_str("it is no file; allowed: a PNG or JPEG file"),
            Self::Unknown => {
                f.write_str("it is neither PNG nor JPEG; allowed: a picture in one of the two")
            }
            Self::Long => write!(
                f,
                "it is longer than {} MB; allowed: a smaller copy",
                PICTURE_BYTES_MAX / (1024 * 1024)
            ),
            Self::Large(size) => {
                if let Some((width, height)) = size {
                    write!(f, "it has {width} × {height} pixels; ")?;
                } else {
                    f.write_str("it has too many pixels; ")?;
                }
                write!(
                    f,
                    "allowed: {} million, at most {PICTURE_SIDE_MAX} in a row; a smaller copy will do",
                    PICTURE_PIXELS_MAX / 1_000_000
                )
            }
            Self::Broken(why) => write!(f, "the picture is broken: {why}"),
        }
    }
}

impl std::error::Error for PictureError {}

impl From<io::Error> for PictureError {
    fn from(error: io::Error) -> Self {
        Self::Io(error)
    }
}

/// A picture made small: red, green and blue of each pixel, row by row from the top left.
#[derive(Clone, PartialEq, Eq)]
pub struct Picture {
    width: u32,
    height: u32,
    full: (u32, u32),
    is_drawn: bool,
    rgb: Vec<u8>,
}

impl fmt::Debug for Picture {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Picture({} × {})", self.width, self.height)
    }
}

impl Picture {
    /// Reads a file.
    ///
    /// # Errors
    /// [`PictureError`].
    pub fn read(path: &Path) -> Result<Self, PictureError> {
        // A pipe would be waited for without end.
        if !std::fs::metadata(path)?.is_file() {
            return Err(PictureError::NoFile);
        }
        let mut bytes = Vec::new();
        let most = PICTURE_BYTES_MAX.saturating_add(1);
        File::open(path)?.take(most).read_to_end(&mut bytes)?;
        Self::of(&bytes)
    }

    /// Reads the bytes of a file.
    ///
    /// # Errors
    /// [`PictureError`].
    pub fn of(bytes: &[u8]) -> Result<Self, PictureError> {
        if u64::try_from(bytes.len()).is_ok_and(|length| length > PICTURE_BYTES_MAX) {
            return Err(PictureError::Long);
        }
        let format = match image::guess_format(bytes) {
            Ok(format @ (ImageFormat::Png | ImageFormat::Jpeg)) => format,
            _ => return Err(PictureError::Unknown),
        };
        let mut limits = image::Limits::no_limits();
        limits.max_alloc = Some(PICTURE_MEMORY_MAX);
        let mut reader = image::ImageReader::with_format(Cursor::new(bytes), format);
        reader.limits(limits);
        let mut decoder = reader.into_decoder().map_err(|error| broken(&error))?;
        let (width, height) = decoder.dimensions();
        let pixels = u64::from(width).saturating_mul(u64::from(height));
        if width.max(height) > PICTURE_SIDE_MAX || pixels > PICTURE_PIXELS_MAX {
            return Err(PictureError::Large(Some((width, height))));
        }
        if decoder.total_bytes() > PICTURE_MEMORY_MAX {
            return Err(PictureError::Large(Some((width, height))));
        }
        // How the camera was held.
        let turned = decoder
            .orientation()
            .unwrap_or(image::metadata::Orientation::NoTransforms);
        let whole = DynamicImage::from_decoder(decoder).map_err(|error| broken(&error))?;
        let mut small = if width.max(height) > PICTURE_KEPT_SIDE {
            whole.thumbnail(PICTURE_KEPT_SIDE, PICTURE_KEPT_SIDE)
        } else {
            whole
        };
        small.apply_orientation(turned);
        let is_upright = (small.width() >= small.height()) == (width >= height);
        let full = if is_upright {
            (width, height)
        } else {
            (height, width)
        };
        Ok(Self {
            width: small.width(),
            height: small.height(),
            full,
            is_drawn: format == ImageFormat::Png,
            rgb: on_white(&small),
        })
    }

    /// Pixels in a row, and rows.
    #[must_use]
    pub const fn size(&self) -> (u32, u32) {
        (self.width, self.height)
    }

    /// Pixels in a row, and rows, of the file: what a plan's points are told in.
    #[must_use]
    pub const fn full(&self) -> (u32, u32) {
        self.full
    }

    /// Red, green and blue of each pixel.
    #[must_use]
    pub fn rgb(&self) -> &[u8] {
        &self.rgb
    }

    /// The file that is kept of it, with its ending: lines as PNG, whatever is large as JPEG.
    ///
    /// # Errors
    /// [`PictureError::Broken`] where it cannot be packed.
    pub fn packed(&self) -> Result<(Vec<u8>, &'static str), PictureError> {
        if self.is_drawn {
            let mut png = Vec::new();
            let encoder =
                PngEncoder::new_with_quality(&mut png, CompressionType::Best, FilterType::Adaptive);
            self.packed_by(encoder)?;
            if png.len() <= PICTURE_KEPT_BYTES {
                return Ok((png, "png"));
            }
        }
        Ok((self.photograph()?, "jpg"))
    }

    /// The picture as JPEG, as a sheet carries it.
    ///
    /// # Errors
    /// As for [`Picture::packed`].
    pub fn photograph(&self) -> Result<Vec<u8>, PictureError> {
        let mut jpeg = Vec::new();
        self.packed_by(JpegEncoder::new_with_quality(&mut jpeg, 82))?;
        Ok(jpeg)
    }

    fn packed_by(&self, encoder: impl image::ImageEncoder) -> Result<(), PictureError> {
        let colour = image::ExtendedColorType::Rgb8;
        encoder
            .write_image(&self.rgb, self.width, self.height, colour)
            .map_err(|error| broken(&error))
    }
}

fn broken(error: &ImageError) -> PictureError {
    match error {
        ImageError::Limits(_) => PictureError::Large(None),
        other => PictureError::Broken(other.to_string()),
    }
}

/// The pixels as they look on white paper.
fn on_white(image: &DynamicImage) -> Vec<u8> {
    let rgba = image.to_rgba8();
    rgba.pixels()
        .flat_map(|pixel| {
            let [red, green, blue, alpha] = pixel.0;
            let alpha = u16::from(alpha);
            [red, green, blue].map(|part| {
                let mixed = (u16::from(part) * alpha + 255 * (255 - alpha)) / 255;
                u8::try_from(mixed).unwrap_or(u8::MAX)
            })
        })
        .collect()
}

#[cfg(test)]
mod tests;
