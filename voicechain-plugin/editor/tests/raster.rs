//! Software rasteriser for the output of egui, without a window or a graphics card.
//!
//! It draws textured triangles with one sample per pixel, because egui's own feathering smooths the edges. Blending is
//! in gamma space, as in egui's renderers. The result is identical on every machine.

use egui::epaint::{ClippedPrimitive, ImageData, Mesh, Primitive, Vertex};
use egui::{Color32, ColorImage, Context, FullOutput, Rect, TextureId, TexturesDelta};
use egui_kittest::TestRenderer;
use std::collections::HashMap;
use std::sync::{Arc, Mutex};

/// Textures that egui has created.
#[derive(Clone, Default)]
pub(crate) struct Raster(Arc<Mutex<HashMap<TextureId, ColorImage>>>);

impl TestRenderer for Raster {
    fn handle_delta(&mut self, delta: &mut TexturesDelta) {
        let mut textures = self.0.lock().unwrap();
        for (id, parts) in std::mem::take(&mut delta.set) {
            for part in &parts {
                let ImageData::Color(new) = &part.image;
                let Some([left, top]) = part.pos else {
                    textures.insert(id, new.as_ref().clone());
                    continue;
                };
                let old = textures.get_mut(&id).unwrap();
                for y in 0..new.size[1] {
                    for x in 0..new.size[0] {
                        old.pixels[(top + y) * old.size[0] + left + x] = new.pixels[y * new.size[0] + x];
                    }
                }
            }
        }
        for id in std::mem::take(&mut delta.free) {
            textures.remove(&id);
        }
    }
}

impl Raster {
    /// Draws an output into a picture of `size` pixels; returns three bytes per pixel.
    pub(crate) fn draw(&self, ctx: &Context, output: &FullOutput, size: [usize; 2]) -> Vec<u8> {
        let scale = output.pixels_per_point;
        let mut pixels = vec![[0.0f32; 3]; size[0] * size[1]];
        let textures = self.0.lock().unwrap();
        for ClippedPrimitive { clip_rect, primitive } in ctx.tessellate(output.shapes.clone(), scale) {
            let Primitive::Mesh(mesh) = primitive else { continue };
            let texture = &textures[&mesh.texture_id];
            draw_mesh(&mut pixels, size, scale, clip_rect, &mesh, texture);
        }
        pixels.iter().flatten().map(|v| v.round().clamp(0.0, 255.0) as u8).collect()
    }
}

fn draw_mesh(pixels: &mut [[f32; 3]], size: [usize; 2], scale: f32, clip: Rect, mesh: &Mesh, texture: &ColorImage) {
    let inside = |v: f32, end: usize| (v.round().max(0.0) as usize).min(end);
    let (left, right) = (inside(scale * clip.left(), size[0]), inside(scale * clip.right(), size[0]));
    let (top, bottom) = (inside(scale * clip.top(), size[1]), inside(scale * clip.bottom(), size[1]));
    for corners in mesh.indices.chunks_exact(3) {
        let [a, b, c] = [0, 1, 2].map(|n| mesh.vertices[corners[n] as usize]);
        let at = |v: &Vertex| [f64::from(v.pos.x * scale), f64::from(v.pos.y * scale)];
        let (pa, pb, pc) = (at(&a), at(&b), at(&c));
        let side = |p: [f64; 2], q: [f64; 2], x: f64, y: f64| (q[0] - p[0]) * (y - p[1]) - (q[1] - p[1]) * (x - p[0]);
        let area = side(pa, pb, pc[0], pc[1]);
        if area == 0.0 {
            continue;
        }
        let min = |n: usize| pa[n].min(pb[n]).min(pc[n]).floor().max(0.0) as usize;
        let max = |n: usize| pa[n].max(pb[n]).max(pc[n]).ceil().max(0.0) as usize;
        // An edge shared by two triangles belongs to one of them.
        let owns = |p: [f64; 2], q: [f64; 2], w: f64| {
            let d = [(q[0] - p[0]) * area.signum(), (q[1] - p[1]) * area.signum()];
            w > 0.0 || (w == 0.0 && (d[1] < 0.0 || (d[1] == 0.0 && d[0] > 0.0)))
        };
        for y in min(1).max(top)..max(1).min(bottom) {
            for x in min(0).max(left)..max(0).min(right) {
                let (px, py) = (x as f64 + 0.5, y as f64 + 0.5);
                let w = [side(pb, pc, px, py) / area, side(pc, pa, px, py) / area, side(pa, pb, px, py) / area];
                if !(owns(pb, pc, w[0]) && owns(pc, pa, w[1]) && owns(pa, pb, w[2])) {
                    continue;
                }
                let w = w.map(|w| w as f32);
                let mix = |f: fn(&Vertex) -> f32| w[0] * f(&a) + w[1] * f(&b) + w[2] * f(&c);
                let texel = sample(texture, mix(|v| v.uv.x), mix(|v| v.uv.y));
                let colour = [
                    mix(|v| f32::from(v.color.r())),
                    mix(|v| f32::from(v.color.g())),
                    mix(|v| f32::from(v.color.b())),
                    mix(|v| f32::from(v.color.a())),
                ];
                let alpha = colour[3] * texel[3] / 255.0;
                let pixel = &mut pixels[y * size[0] + x];
                for n in 0..3 {
                    pixel[n] = colour[n] * texel[n] + pixel[n] * (1.0 - alpha);
                }
            }
        }
    }
}

/// Bilinear sample of a texture, each channel 0 to 1.
fn sample(texture: &ColorImage, u: f32, v: f32) -> [f32; 4] {
    let [width, height] = texture.size;
    let (x, y) = ((u * width as f32 - 0.5).max(0.0), (v * height as f32 - 0.5).max(0.0));
    let (x0, y0) = ((x as usize).min(width - 1), (y as usize).min(height - 1));
    let (x1, y1) = ((x0 + 1).min(width - 1), (y0 + 1).min(height - 1));
    let (fx, fy) = (x - x0 as f32, y - y0 as f32);
    let at = |x: usize, y: usize| {
        let c: Color32 = texture.pixels[y * width + x];
        [c.r(), c.g(), c.b(), c.a()].map(|part| f32::from(part) / 255.0)
    };
    let (a, b, c, d) = (at(x0, y0), at(x1, y0), at(x0, y1), at(x1, y1));
    std::array::from_fn(|n| {
        let (upper, lower) = (a[n] + fx * (b[n] - a[n]), c[n] + fx * (d[n] - c[n]));
        upper + fy * (lower - upper)
    })
}
