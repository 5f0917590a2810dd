//! Paints egui's triangles on the processor, so that pictures of the screens need neither a graphics card nor a display.
//!
//! Fixed-point edges with the top-left rule, bilinear texture, premultiplied blending in gamma space: what egui's own
//! shaders do. Knows nothing of what is drawn.

#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::disallowed_methods,
    reason = "pixels of a picture, far below the limits, and bounds in order"
)]

use std::collections::HashMap;

use egui::epaint::{ImageData, ImageDelta, Primitive, Vertex};
use egui::{Color32, FullOutput, Rect, TextureId, TexturesDelta};
use egui_kittest::TestRenderer;
use image::RgbaImage;

/// A texture as it was uploaded.
#[derive(Default)]
struct Texture {
    width: usize,
    height: usize,
    pixels: Vec<Color32>,
}

impl Texture {
    fn upload(&mut self, delta: &ImageDelta) {
        let ImageData::Color(image) = &delta.image;
        let [width, height] = image.size;
        match delta.pos {
            None => {
                *self = Self {
                    width,
                    height,
                    pixels: image.pixels.clone(),
                }
            }
            Some([left, top]) => {
                for row in 0..height {
                    let to = (top + row) * self.width + left;
                    self.pixels[to..to + width]
                        .copy_from_slice(&image.pixels[row * width..(row + 1) * width]);
                }
            }
        }
    }

    /// Bilinear, clamped to the edge.
    fn sample(&self, u: f32, v: f32) -> [f32; 4] {
        let (x, y) = (
            (u * self.width as f32 - 0.5).clamp(0.0, (self.width - 1) as f32),
            (v * self.height as f32 - 0.5).clamp(0.0, (self.height - 1) as f32),
        );
        let (left, top) = (x.floor(), y.floor());
        let (fx, fy) = (x - left, y - top);
        let (left, top) = (left as usize, top as usize);
        let (right, bottom) = (
            (left + 1).min(self.width - 1),
            (top + 1).min(self.height - 1),
        );
        let at = |x: usize, y: usize| self.pixels[y * self.width + x].to_array();
        let (a, b, c, d) = (
            at(left, top),
            at(right, top),
            at(left, bottom),
            at(right, bottom),
        );
        std::array::from_fn(|channel| {
            let upper = f32::from(a[channel]) * (1.0 - fx) + f32::from(b[channel]) * fx;
            let lower = f32::from(c[channel]) * (1.0 - fx) + f32::from(d[channel]) * fx;
            (upper * (1.0 - fy) + lower * fy) / 255.0
        })
    }
}

/// The painter.
#[derive(Default)]
pub(crate) struct Raster {
    textures: HashMap<TextureId, Texture>,
}

impl TestRenderer for Raster {
    fn handle_delta(&mut self, delta: &mut TexturesDelta) {
        let mut delta = std::mem::take(delta);
        for (id, deltas) in &delta.set {
            let texture = self.textures.entry(*id).or_default();
            for one in deltas {
                texture.upload(one);
            }
        }
        for id in &delta.free {
            self.textures.remove(id);
        }
        delta.clear();
    }

    fn render(&mut self, ctx: &egui::Context, output: &FullOutput) -> Result<RgbaImage, String> {
        let scale = output.pixels_per_point;
        let size = ctx.content_rect().size() * scale;
        let (width, height) = (size.x.round() as u32, size.y.round() as u32);
        let mut canvas = vec![[0.0f32, 0.0, 0.0, 1.0]; (width * height) as usize];
        for clipped in ctx.tessellate(output.shapes.clone(), scale) {
            let Primitive::Mesh(mesh) = &clipped.primitive else {
                return Err("a paint callback cannot be painted here".to_owned());
            };
            let texture = self
                .textures
                .get(&mesh.texture_id)
                .ok_or_else(|| format!("texture {:?} was never uploaded", mesh.texture_id))?;
            let clip =
                Rect::from_min_max(clipped.clip_rect.min * scale, clipped.clip_rect.max * scale);
            let bounds = [
                clip.min.x.round().clamp(0.0, width as f32) as i64,
                clip.min.y.round().clamp(0.0, height as f32) as i64,
                clip.max.x.round().clamp(0.0, width as f32) as i64,
                clip.max.y.round().clamp(0.0, height as f32) as i64,
            ];
            for corners in mesh.indices.chunks_exact(3) {
                let corner = |index: usize| mesh.vertices[corners[index] as usize];
                triangle(
                    &mut canvas,
                    i64::from(width),
                    bounds,
                    [corner(0), corner(1), corner(2)],
                    scale,
                    texture,
                );
            }
        }
        let bytes = canvas
            .iter()
            .flat_map(|pixel| pixel.map(|value| (value.clamp(0.0, 1.0) * 255.0).round() as u8))
            .collect();
        RgbaImage::from_raw(width, height, bytes).ok_or_else(|| "no pixels".to_owned())
    }
}

const SUB: f32 = 256.0;

fn triangle(
    canvas: &mut [[f32; 4]],
    width: i64,
    [left, top, right, bottom]: [i64; 4],
    corners: [Vertex; 3],
    scale: f32,
    texture: &Texture,
) {
    let fixed = |vertex: &Vertex| {
        (
            (vertex.pos.x * scale * SUB).round() as i64,
            (vertex.pos.y * scale * SUB).round() as i64,
        )
    };
    let mut corners = corners;
    let mut points = [fixed(&corners[0]), fixed(&corners[1]), fixed(&corners[2])];
    let area = |a: (i64, i64), b: (i64, i64), p: (i64, i64)| {
        (b.0 - a.0) * (p.1 - a.1) - (b.1 - a.1) * (p.0 - a.0)
    };
    let mut whole = area(points[0], points[1], points[2]);
    if whole == 0 {
        return;
    }
    if whole < 0 {
        corners.swap(1, 2);
        points.swap(1, 2);
        whole = -whole;
    }
    // Clockwise on a screen whose y goes down: a top edge runs to the right, a left edge runs up.
    let bias = |a: (i64, i64), b: (i64, i64)| {
        let owned = (a.1 == b.1 && b.0 > a.0) || b.1 < a.1;
        if owned { 0 } else { -1 }
    };
    let biases = [
        bias(points[1], points[2]),
        bias(points[2], points[0]),
        bias(points[0], points[1]),
    ];
    let sub = SUB as i64;
    let least = |f: fn(&(i64, i64)) -> i64| points.iter().map(f).min().unwrap_or(0);
    let most = |f: fn(&(i64, i64)) -> i64| points.iter().map(f).max().unwrap_or(0);
    let (x0, x1) = (
        (least(|p| p.0) / sub - 1).max(left),
        (most(|p| p.0) / sub + 1).min(right - 1),
    );
    let (y0, y1) = (
        (least(|p| p.1) / sub - 1).max(top),
        (most(|p| p.1) / sub + 1).min(bottom - 1),
    );
    // Nearly every triangle is of one colour and one texel (a fill): look those up once.
    let flat_uv = corners.iter().all(|corner| corner.uv == corners[0].uv);
    let flat_texel = texture.sample(corners[0].uv.x, corners[0].uv.y);
    let colours = corners.map(|corner| {
        corner
            .color
            .to_array()
            .map(|value| f32::from(value) / 255.0)
    });
    let flat = (flat_uv
        && corners
            .iter()
            .all(|corner| corner.color == corners[0].color))
    .then(|| std::array::from_fn::<f32, 4, _>(|channel| colours[0][channel] * flat_texel[channel]));
    let blend = |pixel: &mut [f32; 4], model: [f32; 4]| {
        let rest = 1.0 - model[3];
        *pixel = [
            model[0] + pixel[0] * rest,
            model[1] + pixel[1] * rest,
            model[2] + pixel[2] * rest,
            model[3] + pixel[3] * rest,
        ];
    };
    // Each edge grows by the same step from pixel to pixel.
    let step = [
        points[1].1 - points[2].1,
        points[2].1 - points[0].1,
        points[0].1 - points[1].1,
    ]
    .map(|step| step * sub);
    for y in y0..=y1 {
        let p = (x0 * sub + sub / 2, y * sub + sub / 2);
        let mut w = [
            area(points[1], points[2], p),
            area(points[2], points[0], p),
            area(points[0], points[1], p),
        ];
        for x in x0..=x1 {
            let inside = w[0] + biases[0] >= 0 && w[1] + biases[1] >= 0 && w[2] + biases[2] >= 0;
            if inside {
                let pixel = &mut canvas[(y * width + x) as usize];
                if let Some(model) = flat {
                    blend(pixel, model);
                } else {
                    let share = w.map(|w| w as f32 / whole as f32);
                    let texel = if flat_uv {
                        flat_texel
                    } else {
                        let u = corners[0].uv.x * share[0]
                            + corners[1].uv.x * share[1]
                            + corners[2].uv.x * share[2];
                        let v = corners[0].uv.y * share[0]
                            + corners[1].uv.y * share[1]
                            + corners[2].uv.y * share[2];
                        texture.sample(u, v)
                    };
                    let model = std::array::from_fn(|channel| {
                        let colour = colours[0][channel] * share[0]
                            + colours[1][channel] * share[1]
                            + colours[2][channel] * share[2];
                        colour * texel[channel]
                    });
                    blend(pixel, model);
                }
            }
            w[0] += step[0];
            w[1] += step[1];
            w[2] += step[2];
        }
    }
}
