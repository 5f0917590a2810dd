//! Where a source file can be broken, and its text with a switch at each such place.
//!
//! A file keeps its lines: whatever the compiler says of the broken text is true of a line of the sound one. Knows nothing of
//! files, of tests or of what the code means.

use std::ops::Range;

use proc_macro2::Span;
use syn::spanned::Spanned as _;
use syn::visit::{self, Visit};
use syn::{
    Attribute, BinOp, Block, Expr, ExprBinary, ExprIf, ExprMethodCall, ExprUnary, ImplItemFn, Item,
    ItemFn, ItemImpl, ItemMod, Pat, ReturnType, Signature, Stmt, TraitItemFn, Type, UnOp,
};

/// One place and one way to break it.
pub(crate) struct Break {
    /// Counted over all files, from 1.
    pub(crate) number: usize,
    /// From 1.
    pub(crate) line: usize,
    /// The function it is in.
    pub(crate) function: String,
    /// What is done there.
    pub(crate) what: String,
}

/// What is put at a byte: behind what ends there, before what begins there, or in the place of what stands there.
enum Put {
    Behind,
    Before,
    Over(usize),
}

/// A file while it is looked through.
pub(crate) struct Places<'a> {
    source: &'a str,
    /// The lines that are left alone.
    spared: &'a [usize],
    next: usize,
    edits: Vec<(usize, Put, String)>,
    /// What was found.
    pub(crate) breaks: Vec<Break>,
    function: String,
    is_const: bool,
}

impl<'a> Places<'a> {
    /// Looks through a file; breaks are numbered from `next`.
    ///
    /// # Errors
    /// It is no Rust.
    pub(crate) fn of(source: &'a str, next: usize, spared: &'a [usize]) -> syn::Result<Self> {
        let file = syn::parse_file(source)?;
        let mut places = Self {
            source,
            spared,
            next,
            edits: Vec::new(),
            breaks: Vec::new(),
            function: String::new(),
            is_const: false,
        };
        places.visit_file(&file);
        Ok(places)
    }

    /// The text with a switch at each place.
    pub(crate) fn text(&self) -> String {
        let mut order: Vec<(usize, u8, isize, &Put, &str)> = self
            .edits
            .iter()
            .enumerate()
            .map(|(index, (at, put, text))| {
                let index = index.cast_signed();
                match put {
                    // What is inside ends before what is around it, and begins behind it.
                    Put::Behind => (*at, 0, -index, put, text.as_str()),
                    Put::Before => (*at, 1, index, put, text.as_str()),
                    Put::Over(_) => (*at, 2, index, put, text.as_str()),
                }
            })
            .collect();
        order.sort_by_key(|(at, kind, index, ..)| (*at, *kind, *index));
        let (mut text, mut from) = (String::new(), 0);
        for (at, _, _, put, words) in order {
            text += &self.source[from..at];
            text += words;
            from = at;
            if let Put::Over(end) = put {
                // The lines stay what they are.
                text.extend(self.source[at..*end].chars().filter(|own| *own == '\n'));
                from = *end;
            }
        }
        text += &self.source[from..];
        text
    }

    /// A number for a break here, unless the line is spared.
    fn number(&mut self, span: Span, what: impl Into<String>) -> Option<usize> {
        let line = span.start().line;
        if self.spared.contains(&line) {
            return None;
        }
        let number = self.next;
        self.next += 1;
        self.breaks.push(Break {
            number,
            line,
            function: self.function.clone(),
            what: what.into(),
        });
        Some(number)
    }

    fn put(&mut self, at: usize, put: Put, text: impl Into<String>) {
        self.edits.push((at, put, text.into()));
    }

    fn around(&mut self, range: &Range<usize>, before: &str, behind: impl Into<String>) {
        self.put(range.start, Put::Before, before);
        self.put(range.end, Put::Behind, behind);
    }

    fn over(&mut self, range: &Range<usize>, text: &str) {
        self.put(range.start, Put::Over(range.end), text);
    }

    fn code(&self, span: Span) -> String {
        let text = &self.source[span.byte_range()];
        let words: Vec<&str> = text.split_whitespace().collect();
        let mut line = words.join(" ");
        if line.chars().count() > 70 {
            line = line.chars().take(67).collect::<String>() + "...";
        }
        line
    }

    /// A truth that is turned round.
    fn negated(&mut self, span: Span) {
        let what = format!("`{}` is taken for its opposite", self.code(span));
        if let Some(number) = self.number(span, what) {
            self.around(
                &span.byte_range(),
                "((",
                format!(") != crate::bite({number}))"),
            );
        }
    }

    /// `a && b`: read as `a || b`, and the other way about. The second is looked at only where it counts, as before.
    fn joined(&mut self, own: &ExprBinary, other: &str, sign: &str) {
        let what = format!(
            "{} becomes {other} in `{}`",
            self.code(own.op.span()),
            self.code(own.span())
        );
        let Some(number) = self.number(own.op.span(), what) else {
            return;
        };
        self.around(&own.span().byte_range(), "({ let __x = ", "}})");
        let between = format!("; if __x {sign} crate::bite({number}) {{ __x }} else {{");
        self.over(&own.op.span().byte_range(), &between);
    }

    /// An operator that is taken for others.
    fn exchanged(&mut self, own: &ExprBinary, others: &[&str], by_value: bool) {
        let (op, whole) = (own.op.span(), own.span());
        let (sign, code) = (self.code(op), self.code(whole));
        let numbers: Vec<(usize, &str)> = others
            .iter()
            .filter_map(|other| {
                let number = self.number(op, format!("{sign} becomes {other} in `{code}`"))?;
                Some((number, *other))
            })
            .collect();
        if numbers.is_empty() {
            return;
        }
        let (star, reference) = if by_value { ("", "") } else { ("*", "&") };
        let mut arms = String::new();
        for (number, other) in numbers {
            arms += &format!("if crate::bite({number}) {{ {star}__x {other} {star}__y }} else ");
        }
        arms += &format!("{{ {star}__x {sign} {star}__y }}");
        self.around(
            &whole.byte_range(),
            &format!("(match ({reference}("),
            format!(")) {{ (__x, __y) => {arms} }})"),
        );
        self.over(&op.byte_range(), &format!("), {reference}("));
    }

    /// A statement that is left out.
    fn left_out(&mut self, stmt: &Stmt) {
        let span = stmt.span();
        let what = format!("`{}` is left out", self.code(span));
        if let Some(number) = self.number(span, what) {
            self.around(
                &span.byte_range(),
                &format!("if !crate::bite({number}) {{ "),
                " }",
            );
        }
    }

    /// A function that gives this at once.
    fn given_at_once(&mut self, signature: &Signature, body: &Block) {
        let values: &[&str] = match &signature.output {
            ReturnType::Default => &[""],
            ReturnType::Type(_, own) => at_once(own),
        };
        for value in values {
            let what = if value.is_empty() {
                "does nothing".to_owned()
            } else {
                format!("gives {value} whatever it is asked")
            };
            if let Some(number) = self.number(signature.ident.span(), what) {
                let at = body.brace_token.span.open().byte_range().end;
                let text = format!(" if crate::bite({number}) {{ return {value}; }}");
                self.put(at, Put::Before, text);
            }
        }
    }

    fn in_function(&mut self, signature: &Signature, body: &Block, attributes: &[Attribute]) {
        if is_of_tests(attributes) {
            return;
        }
        let before = (self.function.clone(), self.is_const);
        self.function = signature.ident.to_string();
        self.is_const = signature.constness.is_some();
        if !body.stmts.is_empty() {
            self.given_at_once(signature, body);
        }
        self.visit_block(body);
        (self.function, self.is_const) = before;
    }

    /// `one.min(other)` and its like.
    fn other_method(&mut self, own: &ExprMethodCall) {
        let name = own.method.to_string();
        let (Some(other), Some(argument)) = (other_method(&name), own.args.first()) else {
            return;
        };
        if own.args.len() != 1 {
            return;
        }
        let what = format!("{name} becomes {other} in `{}`", self.code(own.span()));
        let Some(number) = self.number(own.method.span(), what) else {
            return;
        };
        let other = match other {
            "nothing" => "__x".to_owned(),
            other => format!("__x.{other}(__y)"),
        };
        let (start, end) = (own.span().byte_range().start, own.span().byte_range().end);
        self.put(start, Put::Before, "(match (");
        let from = own.dot_token.span().byte_range().start;
        let to = argument.span().byte_range().start;
        self.over(&(from..to), ", ");
        let arms = format!("if crate::bite({number}) {{ {other} }} else {{ __x.{name}(__y) }}");
        let last = argument.span().byte_range().end;
        self.over(&(last..end), &format!(") {{ (__x, __y) => {arms} }})"));
    }
}

/// Values that a function of this type can give without looking.
fn at_once(own: &Type) -> &'static [&'static str] {
    let Type::Path(path) = own else { return &[] };
    let Some(last) = path.path.segments.last() else {
        return &[];
    };
    match last.ident.to_string().as_str() {
        "bool" => &["true", "false"],
        "Option" => &["None"],
        "u8" | "u16" | "u32" | "u64" | "usize" | "i8" | "i16" | "i32" | "i64" => &["0"],
        _ => &[],
    }
}

fn other_method(name: &str) -> Option<&'static str> {
    Some(match name {
        "min" => "max",
        "max" => "min",
        "saturating_add" => "saturating_sub",
        "saturating_sub" => "saturating_add",
        "wrapping_add" => "wrapping_sub",
        "wrapping_sub" => "wrapping_add",
        "checked_add" => "checked_sub",
        "checked_sub" => "checked_add",
        "with" | "without" | "union" => "nothing",
        _ => return None,
    })
}

/// Methods that give a truth.
fn is_a_truth(name: &str) -> bool {
    name.starts_with("is_")
        || name.starts_with("has_")
        || matches!(name, "contains" | "any" | "all" | "starts_with")
}

fn is_of_tests(attributes: &[Attribute]) -> bool {
    attributes.iter().any(|own| {
        let text = quoted(own);
        text.contains("test") || text.contains("defmt")
    })
}

/// What stands in an attribute, but for words of documentation.
fn quoted(own: &Attribute) -> String {
    if own.path().is_ident("doc") {
        return String::new();
    }
    match &own.meta {
        syn::Meta::List(list) => format!(
            "{} {}",
            list.path
                .segments
                .last()
                .map_or_else(String::new, |own| own.ident.to_string()),
            list.tokens
        ),
        syn::Meta::Path(path) => path
            .segments
            .last()
            .map_or_else(String::new, |own| own.ident.to_string()),
        syn::Meta::NameValue(_) => String::new(),
    }
}

fn has_a_pattern(own: &Expr) -> bool {
    match own {
        Expr::Let(_) => true,
        Expr::Binary(own) => has_a_pattern(&own.left) || has_a_pattern(&own.right),
        _ => false,
    }
}

impl<'ast> Visit<'ast> for Places<'_> {
    fn visit_item(&mut self, own: &'ast Item) {
        // What is worked out while compiling has no switch.
        if !matches!(own, Item::Const(_) | Item::Static(_) | Item::Macro(_)) {
            visit::visit_item(self, own);
        }
    }

    fn visit_item_mod(&mut self, own: &'ast ItemMod) {
        if !is_of_tests(&own.attrs) {
            visit::visit_item_mod(self, own);
        }
    }

    fn visit_item_impl(&mut self, own: &'ast ItemImpl) {
        // Texts are held by the tests of whoever shows them.
        let is_text = own.trait_.as_ref().is_some_and(|(_, path, _)| {
            path.segments
                .last()
                .is_some_and(|own| ["Display", "Debug"].contains(&own.ident.to_string().as_str()))
        });
        if !is_text && !is_of_tests(&own.attrs) {
            visit::visit_item_impl(self, own);
        }
    }

    fn visit_impl_item_const(&mut self, _own: &'ast syn::ImplItemConst) {}

    fn visit_type(&mut self, _own: &'ast Type) {}

    fn visit_pat(&mut self, _own: &'ast Pat) {}

    fn visit_item_fn(&mut self, own: &'ast ItemFn) {
        self.in_function(&own.sig, &own.block, &own.attrs);
    }

    fn visit_impl_item_fn(&mut self, own: &'ast ImplItemFn) {
        self.in_function(&own.sig, &own.block, &own.attrs);
    }

    fn visit_trait_item_fn(&mut self, own: &'ast TraitItemFn) {
        if let Some(body) = &own.default {
            self.in_function(&own.sig, body, &own.attrs);
        }
    }

    fn visit_stmt(&mut self, own: &'ast Stmt) {
        if let Stmt::Expr(expr, Some(_)) = own {
            let is_act = match expr {
                Expr::Assign(_) | Expr::MethodCall(_) | Expr::Call(_) => true,
                Expr::Binary(own) => is_assignment(&own.op),
                _ => false,
            };
            if is_act {
                self.left_out(own);
            }
        }
        visit::visit_stmt(self, own);
    }

    fn visit_expr_if(&mut self, own: &'ast ExprIf) {
        self.condition(&own.cond);
        visit::visit_expr_if(self, own);
    }

    fn visit_arm(&mut self, own: &'ast syn::Arm) {
        if let Some((_, guard)) = &own.guard {
            self.condition(guard);
        }
        visit::visit_arm(self, own);
    }

    fn visit_expr_binary(&mut self, own: &'ast ExprBinary) {
        let by_value = self.is_const;
        match own.op {
            BinOp::And(_) if !has_a_pattern(&own.left) && !has_a_pattern(&own.right) => {
                self.joined(own, "||", "==");
            }
            BinOp::Or(_) => self.joined(own, "&&", "!="),
            BinOp::Lt(_) => self.exchanged(own, &["<=", ">="], by_value),
            BinOp::Le(_) => self.exchanged(own, &["<", ">"], by_value),
            BinOp::Gt(_) => self.exchanged(own, &[">=", "<="], by_value),
            BinOp::Ge(_) => self.exchanged(own, &[">", "<"], by_value),
            BinOp::Eq(_) => self.exchanged(own, &["!="], by_value),
            BinOp::Ne(_) => self.exchanged(own, &["=="], by_value),
            BinOp::Add(_) => self.exchanged(own, &["-"], true),
            BinOp::Sub(_) => self.exchanged(own, &["+"], true),
            BinOp::Mul(_) => self.exchanged(own, &["/"], true),
            BinOp::Div(_) | BinOp::Rem(_) => self.exchanged(own, &["*"], true),
            BinOp::BitAnd(_) => self.exchanged(own, &["|"], true),
            BinOp::BitOr(_) => self.exchanged(own, &["&"], true),
            _ => {}
        }
        visit::visit_expr_binary(self, own);
    }

    fn visit_expr_unary(&mut self, own: &'ast ExprUnary) {
        match own.op {
            UnOp::Not(_) => self.negated(own.span()),
            UnOp::Neg(_) if !matches!(*own.expr, Expr::Lit(_)) => {
                let what = format!("the sign is left out of `{}`", self.code(own.span()));
                if let Some(number) = self.number(own.op.span(), what) {
                    let arm = format!("if crate::bite({number}) {{ __x }} else {{ -__x }}");
                    self.put(
                        own.span().byte_range().end,
                        Put::Behind,
                        format!(") {{ __x => {arm} }})"),
                    );
                    self.over(&own.op.span().byte_range(), "(match (");
                }
            }
            _ => {}
        }
        visit::visit_expr_unary(self, own);
    }

    fn visit_expr_method_call(&mut self, own: &'ast ExprMethodCall) {
        if is_a_truth(&own.method.to_string()) {
            self.negated(own.span());
        }
        self.other_method(own);
        visit::visit_expr_method_call(self, own);
    }
}

impl Places<'_> {
    /// A condition that nothing inside turns round.
    fn condition(&mut self, own: &Expr) {
        let is_whole = match own {
            Expr::MethodCall(call) => !is_a_truth(&call.method.to_string()),
            Expr::Path(_) | Expr::Field(_) | Expr::Call(_) | Expr::Macro(_) => true,
            _ => false,
        };
        if is_whole {
            self.negated(own.span());
        }
    }
}

fn is_assignment(op: &BinOp) -> bool {
    matches!(
        op,
        BinOp::AddAssign(_)
            | BinOp::SubAssign(_)
            | BinOp::MulAssign(_)
            | BinOp::DivAssign(_)
            | BinOp::BitAndAssign(_)
            | BinOp::BitOrAssign(_)
            | BinOp::ShlAssign(_)
            | BinOp::ShrAssign(_)
    )
}
