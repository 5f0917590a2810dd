//! Drawing in the joint in hand: what was asked for, done in the text, and the view of it.
//!
//! Knows nothing of mice.

use super::super::super::edit_view::{Draw, DrawingView};
use super::Editor;
use crate::plan::edit::EditError;
use crate::plan::edit::drawing::LayOut;
use crate::plan::edit::under::between;

impl Editor {
    /// Draws; what cannot be read is told apart from what cannot be done.
    pub(super) fn draw_in(&mut self, what: Draw) -> Result<Result<(), EditError>, String> {
        let Some(joint) = self.joint() else {
            return Err("take a joint in hand first".to_owned());
        };
        let document = &mut self.document;
        Ok(match what {
            Draw::Put(x, y) => document.put_fastener(&joint, x, y).map(drop),
            Draw::Move(label, x, y) => document.move_fastener(&joint, &label, x, y),
            Draw::Take(label) => document.take_fastener(&joint, &label),
            Draw::LayOut(typed) => {
                let how = LayOut::read(&typed)?;
                document.lay_fasteners(&joint, &how)
            }
            Draw::Label(old, new) => document.label_fastener(&joint, &old, new.trim()),
            Draw::Number(labels) => document.number_fasteners(&joint, &labels),
            Draw::Order(labels) => document.order_fasteners(&joint, &labels),
            Draw::Front(edge) => document.front_at(&joint, &edge),
            Draw::Picture(path) => {
                let name = self.keep_picture(&joint, &path)?;
                self.document.lay_picture(&joint, &name)
            }
            Draw::Scale(pixels, typed) => {
                let places = between(&typed, pixels, &document.drawn(&joint))?;
                document.scale_picture(&joint, pixels, &places)
            }
            Draw::Print(sheet) => document.print_picture(&joint, sheet),
            Draw::TakePicture => document.remove(&joint.key("picture")),
        })
    }

    pub(super) fn drawing(&self) -> Option<DrawingView> {
        let joint = self.joint()?;
        let fasteners = self.document.drawn(&joint);
        let plan = self.checked.plan.as_ref();
        let (_, index) = joint.item()?;
        let order = plan
            .and_then(|plan| plan.joints().get(index))
            .map(|joint| {
                let base = &joint.first_plan().base;
                base.iter()
                    .map(|place| joint.label(*place).to_owned())
                    .collect()
            })
            .unwrap_or_default();
        Some(DrawingView {
            joint: joint.to_string(),
            title: self.words_of(&joint),
            is_circle: self.document.raw(&joint.key("positions")).is_none(),
            front: self.document.words(&joint, "front").unwrap_or_default(),
            picture: self.picture_view(&joint, &fasteners),
            fasteners: fasteners
                .into_iter()
                .map(|own| (own.label, own.x_mm, own.y_mm))
                .collect(),
            order,
        })
    }
}
