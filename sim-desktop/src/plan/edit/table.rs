//! Several joints at once from a table, as copied from a spreadsheet or a text: the first row names the columns.
//!
//! A column is a key of a joint, of its circle, or of its one stage. What a cell says is checked where it is written, as everything
//! typed is. Knows nothing of clipboards.

use super::fields::{Field, kind_of};
use super::item::{Item, quoted};
use super::layout::Path;
use super::value::written;
use super::{Document, EditError, Where};

/// What a column is of.
#[derive(Clone, Copy)]
enum Column {
    Joint(&'static Field),
    Circle(&'static Field),
    Stage(&'static Field),
    /// The unit of the torque beside it.
    Unit,
}

fn column(name: &str) -> Option<Column> {
    let root = Path::default();
    let joint = kind_of(&root.key("joint").at(0))?;
    let stage = kind_of(&root.key("joint").at(0).key("stage").at(0))?;
    let circle = joint.field("circle")?;
    let key = match name {
        "unit" => return Some(Column::Unit),
        "label" => "id",
        other => other.strip_prefix("circle ").unwrap_or(other),
    };
    let below = circle.below.iter().find(|own| own.key == key);
    let own = joint.field(key).filter(|own| own.below.is_empty());
    own.map(Column::Joint)
        .or(below.map(Column::Circle))
        .or(stage.field(key).map(Column::Stage))
}

/// The joints of a table.
///
/// # Errors
/// In words: a column that is nothing of a joint, no column for the id, a row with more cells than names.
pub fn joints(text: &str) -> Result<Vec<Item>, String> {
    let mut rows = text.lines().filter(|row| !row.trim().is_empty());
    let names = rows.next().unwrap_or_default();
    let between = if names.contains('\t') { '\t' } else { ';' };
    let names: Vec<String> = names
        .split(between)
        .map(|name| name.trim().to_lowercase())
        .collect();
    let columns: Vec<Column> = names
        .iter()
        .map(|name| {
            column(name).ok_or_else(|| {
                format!(
                    "column `{name}` is nothing of a joint: id or label, title, thread, class, condition, number, diameter, positions, order, torque, unit, printed, within …"
                )
            })
        })
        .collect::<Result<_, _>>()?;
    if !names.iter().any(|name| name == "id" || name == "label") {
        return Err("the table needs a column `id` or `label`".to_owned());
    }
    let mut rows = rows.peekable();
    if rows.peek().is_none() {
        return Err("a table of joints has a row of names and a row for each joint".to_owned());
    }
    rows.zip(1_u32..)
        .map(|(row, number)| {
            let cells: Vec<&str> = row.split(between).map(str::trim).collect();
            if cells.len() > columns.len() {
                return Err(format!(
                    "row {number} has {} cells, the first row names {}",
                    cells.len(),
                    columns.len()
                ));
            }
            Ok(joint(&columns, &cells))
        })
        .collect()
}

fn joint(columns: &[Column], cells: &[&str]) -> Item {
    let filled = || {
        columns
            .iter()
            .zip(cells)
            .filter(|(_, cell)| !cell.is_empty())
    };
    let unit = filled().find(|(column, _)| matches!(column, Column::Unit));
    let (mut item, mut stage) = (Item::new(), Item::new());
    let mut circle = Item::new();
    for (column, cell) in filled() {
        match column {
            Column::Joint(field) => item = item.value(&field.key, &written(cell, &field.takes)),
            Column::Circle(field) => {
                circle = circle.value(&field.key, &written(cell, &field.takes));
            }
            Column::Stage(field) => {
                // A number alone takes the unit of its row.
                let is_bare = cell.chars().all(|letter| !letter.is_alphabetic());
                let toml = match unit {
                    Some((_, unit)) if field.key == "torque" && is_bare => {
                        quoted(&format!("{cell} {unit}"))
                    }
                    _ => written(cell, &field.takes),
                };
                stage = stage.value(&field.key, &toml);
            }
            Column::Unit => {}
        }
    }
    if !circle.values.is_empty() {
        item = item.value("circle", &circle.braced());
    }
    if !stage.values.is_empty() {
        if !stage.values.iter().any(|(key, _)| key == "do") {
            let kind = if stage.values.iter().any(|(key, _)| key == "angle") {
                "turn"
            } else {
                "tighten"
            };
            stage.values.insert(0, ("do".to_owned(), quoted(kind)));
        }
        item = item.with("stage", stage);
    }
    item
}

impl Document {
    /// Adds joints, one behind the other, as one change, and returns where the last is.
    ///
    /// # Errors
    /// [`EditError`]; then nothing is changed.
    pub fn add_joints(&mut self, joints: &[Item], to: &Where) -> Result<Path, EditError> {
        self.at_once(|own| {
            let list = Path::default().key("joint");
            let mut to = to.clone();
            let mut last = Err(EditError::Missing);
            for joint in joints {
                let added = own.add(&list, joint, &to)?;
                to = Where::After(added.clone());
                last = Ok(added);
            }
            last
        })
    }
}

#[cfg(test)]
mod tests {
    use super::{Document, Where, joints};

    const TABLE: &str = "Label\tTitle\tThread\tNumber\tDiameter\tTorque\tUnit\tPrinted\n\
        lid\tWinch lid\tM8\t6\t120 mm\t18\tlbf·ft\t24.4 N·m\n\
        foot\tFoot, left\tM12\t4\t7 in\t60\tN·m\t\n";

    #[test]
    fn a_pasted_table_is_joints_that_the_reader_takes() {
        let mut document = Document::new("[build]\ntitle = \"Winch\"\n");
        let before = document.text().to_owned();
        let last = document
            .add_joints(&joints(TABLE).unwrap(), &Where::Last)
            .unwrap();
        assert_eq!(last.to_string(), "joint/1");
        let checked = document.check("winch.toml");
        assert_eq!(checked.count, 0, "{:?}", checked.faults);
        let plan = checked.plan.unwrap();
        let said: Vec<String> = plan
            .joints()
            .iter()
            .map(|joint| joint.first_plan().stages[0].sentence())
            .collect();
        assert_eq!(
            said,
            [
                "tighten to 18 lbf·ft, printed beside it 24.4 N·m",
                "tighten to 60 N·m"
            ]
        );
        assert_eq!(plan.joints()[1].positions().len(), 4);
        document.undo();
        assert_eq!(document.text(), before, "one change");
    }

    #[test]
    fn a_cell_with_a_fault_is_told_at_its_field_and_a_bad_table_says_what_is_wanted() {
        let mut document = Document::new("");
        let wrong = joints("id;number;diameter;torque\nlid;6;120 mm;18 lb\n").unwrap();
        document.add_joints(&wrong, &Where::Last).unwrap();
        let checked = document.check("winch.toml");
        assert_eq!(checked.count, 1);
        assert_eq!(checked.faults[0].path.to_string(), "joint/0/stage/0/torque");
        for (table, said) in [
            ("id;colour\na;red", "column `colour`"),
            ("id;torque\n", "a row for each joint"),
            ("title;torque\na;3 N·m", "`id` or `label`"),
            ("id;torque\na;3 N·m;x", "row 1 has 3 cells"),
        ] {
            let error = joints(table).unwrap_err();
            assert!(error.contains(said), "{error}");
        }
    }
}
