//! A picture of the part, painted where it lies: one quad with the picture on it.
//!
//! Knows nothing of files, nor of what is drawn on top.

use std::fmt;
use std::sync::Arc;

use crate::picture::{Laid, Picture};
use egui::epaint::Vertex;
use egui::{Color32, ColorImage, Mesh, Pos2, Rect, Shape, TextureHandle, TextureOptions, Ui, pos2};

/// A picture as the graphics card has it.
#[derive(Clone)]
struct Texture {
    of: Arc<Picture>,
    handle: TextureHandle,
}

impl fmt::Debug for Texture {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.of.fmt(f)
    }
}

/// The picture painted last, kept for the next frame.
#[derive(Clone, Debug, Default)]
pub(super) struct Photo(Option<Texture>);

impl Photo {
    /// Gives back what it takes.
    pub(super) fn forget(&mut self) {
        self.0 = None;
    }

    /// Paints it within `rect`, as strong as `alpha`; `screen` says where a place in mm is.
    pub(super) fn paint(
        &mut self,
        ui: &Ui,
        rect: Rect,
        (picture, laid): (&Arc<Picture>, &Laid),
        alpha: u8,
        screen: impl Fn((f64, f64)) -> Pos2,
    ) {
        let own = self.0.take().filter(|own| Arc::ptr_eq(&own.of, picture));
        let texture = own.unwrap_or_else(|| {
            let (width, height) = picture.size();
            let size = [width, height].map(|side| usize::try_from(side).unwrap_or(0));
            let image = ColorImage::from_rgb(size, picture.rgb());
            Texture {
                of: Arc::clone(picture),
                handle: ui
                    .ctx()
                    .load_texture("picture", image, TextureOptions::LINEAR),
            }
        });
        // Its points are told in pixels of the file, of which a small copy is shown.
        let (width, height) = picture.full();
        let (width, height) = (f64::from(width), f64::from(height));
        let corners = [
            ((0.0, 0.0), pos2(0.0, 0.0)),
            ((width, 0.0), pos2(1.0, 0.0)),
            ((width, height), pos2(1.0, 1.0)),
            ((0.0, height), pos2(0.0, 1.0)),
        ];
        let mut mesh = Mesh::with_texture(texture.handle.id());
        for (pixel, uv) in corners {
            mesh.vertices.push(Vertex {
                pos: screen(laid.place(pixel)),
                uv,
                color: Color32::from_white_alpha(alpha),
            });
        }
        mesh.indices.extend([0, 1, 2, 0, 2, 3]);
        ui.painter().with_clip_rect(rect).add(Shape::mesh(mesh));
        self.0 = Some(texture);
    }
}
