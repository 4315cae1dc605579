//! Finds the places of mutants in the syntax of a file.

use std::collections::HashMap;

use proc_macro2::Span;
use syn::spanned::Spanned;
use syn::visit::{self, Visit};
use syn::{Attribute, Block, Expr, Pat, Signature};

use crate::cfg;
use crate::edit::{Bytes, Edit, Kind};

/// What was found in a file.
#[derive(Debug, Default)]
pub struct Syntax {
    /// Places, by what cargo-mutants calls the kind and by where its span begins.
    pub places: HashMap<(&'static str, usize), Edit>,
    /// Functions that are `const`.
    pub const_functions: Vec<ConstFunction>,
    /// Bytes that are not compiled.
    pub left_out: Vec<Bytes>,
    /// Bytes in which there is nothing but constants: the switch cannot be asked for.
    pub constants: Vec<Bytes>,
    /// Patterns: constants too, but an arm that begins with one can be deleted.
    pub patterns: Vec<Bytes>,
}

/// A function that is `const`.
#[derive(Debug)]
pub struct ConstFunction {
    /// `Type::name`, or `name`.
    pub name: String,
    /// The word `const` and the blank after it.
    pub word: Bytes,
    /// Its body.
    pub body: Bytes,
}

/// Finds everything in a file of which mutants can be made.
pub fn find(file: &syn::File, holding: &[String]) -> Syntax {
    let mut finder =
        Finder { found: Syntax::default(), holding, owners: Vec::new(), types: Vec::new() };
    finder.visit_file(file);
    finder.found
}

fn bytes(span: Span) -> Bytes {
    span.byte_range()
}

struct Finder<'h> {
    found: Syntax,
    holding: &'h [String],
    /// What the node that is visited is in, innermost last: whose attributes come next.
    owners: Vec<Bytes>,
    /// The types whose functions are visited.
    types: Vec<String>,
}

impl Finder<'_> {
    fn place(&mut self, genre: &'static str, start: usize, whole: Bytes, kind: Kind) {
        self.found.places.insert((genre, start), Edit { whole, kind, mutants: Vec::new() });
    }

    fn within(&mut self, bytes: Bytes, visit: impl FnOnce(&mut Self)) {
        self.owners.push(bytes);
        visit(self);
        self.owners.pop();
    }

    fn function(&mut self, signature: &Signature, block: &Block) {
        let body = bytes(block.span());
        if let Some(word) = &signature.constness {
            let name = signature.ident.to_string();
            let of = self.types.last().map(|of| format!("{of}::")).unwrap_or_default();
            let word = bytes(word.span());
            let word = word.start..word.end + 1;
            let body = body.clone();
            self.found.const_functions.push(ConstFunction { name: of + &name, word, body });
        }
        if let Some(first) = block.stmts.first() {
            let inside = body.start + 1;
            let start = bytes(first.span()).start;
            self.place("FnValue", start, inside..inside, Kind::Body);
        }
    }
}

/// Whether a `let` of an `if` stands in this operand: nothing can be written around it.
fn has_let(operand: &Expr) -> bool {
    match operand {
        Expr::Let(_) => true,
        Expr::Binary(pair) => has_let(&pair.left) || has_let(&pair.right),
        _ => false,
    }
}

/// The last name of a type's path.
fn name_of(of: &syn::Type) -> String {
    match of {
        syn::Type::Path(path) => path.path.segments.last().map(|last| last.ident.to_string()),
        _ => None,
    }
    .unwrap_or_default()
}

impl<'ast> Visit<'ast> for Finder<'_> {
    fn visit_attribute(&mut self, attribute: &'ast Attribute) {
        if let (false, Some(owner)) =
            (cfg::is_compiled(attribute, self.holding), self.owners.last())
        {
            self.found.left_out.push(owner.clone());
        }
    }

    fn visit_item(&mut self, node: &'ast syn::Item) {
        self.within(bytes(node.span()), |this| visit::visit_item(this, node));
    }

    fn visit_item_const(&mut self, node: &'ast syn::ItemConst) {
        self.found.constants.push(bytes(node.span()));
        visit::visit_item_const(self, node);
    }

    fn visit_impl_item_const(&mut self, node: &'ast syn::ImplItemConst) {
        self.found.constants.push(bytes(node.span()));
        visit::visit_impl_item_const(self, node);
    }

    fn visit_item_static(&mut self, node: &'ast syn::ItemStatic) {
        self.found.constants.push(bytes(node.span()));
        visit::visit_item_static(self, node);
    }

    fn visit_type_array(&mut self, node: &'ast syn::TypeArray) {
        self.found.constants.push(bytes(node.len.span()));
        visit::visit_type_array(self, node);
    }

    fn visit_expr_repeat(&mut self, node: &'ast syn::ExprRepeat) {
        self.found.constants.push(bytes(node.len.span()));
        visit::visit_expr_repeat(self, node);
    }

    fn visit_pat(&mut self, node: &'ast syn::Pat) {
        if !matches!(node, Pat::Guard(_)) {
            self.found.patterns.push(bytes(node.span()));
        }
        visit::visit_pat(self, node);
    }

    fn visit_item_impl(&mut self, node: &'ast syn::ItemImpl) {
        self.types.push(name_of(&node.self_ty));
        visit::visit_item_impl(self, node);
        self.types.pop();
    }

    fn visit_item_trait(&mut self, node: &'ast syn::ItemTrait) {
        self.types.push(node.ident.to_string());
        visit::visit_item_trait(self, node);
        self.types.pop();
    }

    fn visit_impl_item(&mut self, node: &'ast syn::ImplItem) {
        self.within(bytes(node.span()), |this| visit::visit_impl_item(this, node));
    }

    fn visit_trait_item(&mut self, node: &'ast syn::TraitItem) {
        self.within(bytes(node.span()), |this| visit::visit_trait_item(this, node));
    }

    fn visit_stmt(&mut self, node: &'ast syn::Stmt) {
        self.within(bytes(node.span()), |this| visit::visit_stmt(this, node));
    }

    fn visit_field_value(&mut self, node: &'ast syn::FieldValue) {
        self.within(bytes(node.span()), |this| visit::visit_field_value(this, node));
    }

    fn visit_expr(&mut self, node: &'ast Expr) {
        self.within(bytes(node.span()), |this| visit::visit_expr(this, node));
    }

    fn visit_item_fn(&mut self, node: &'ast syn::ItemFn) {
        self.function(&node.sig, &node.block);
        visit::visit_item_fn(self, node);
    }

    fn visit_impl_item_fn(&mut self, node: &'ast syn::ImplItemFn) {
        self.function(&node.sig, &node.block);
        visit::visit_impl_item_fn(self, node);
    }

    fn visit_trait_item_fn(&mut self, node: &'ast syn::TraitItemFn) {
        if let Some(block) = &node.default {
            self.function(&node.sig, block);
        }
        visit::visit_trait_item_fn(self, node);
    }

    fn visit_arm(&mut self, node: &'ast syn::Arm) {
        self.within(bytes(node.span()), |this| {
            let whole = bytes(node.pat.span());
            let (pattern, guard) = match &node.pat {
                Pat::Guard(of) => (bytes(of.pat.span()), Some(bytes(of.guard.span()))),
                _ => (whole.clone(), None),
            };
            if let Some(guard) = &guard {
                this.place("MatchArmGuard", guard.start, guard.clone(), Kind::Guard);
            }
            let start = bytes(node.span()).start;
            this.place("MatchArm", start, whole, Kind::Arm { pattern, guard });
            visit::visit_arm(this, node);
        });
    }

    fn visit_expr_binary(&mut self, node: &'ast syn::ExprBinary) {
        if !has_let(&node.left) && !has_let(&node.right) {
            let operator = bytes(node.op.span());
            let start = operator.start;
            let kind = Kind::Binary { operator };
            self.place("BinaryOperator", start, bytes(node.span()), kind);
        }
        visit::visit_expr_binary(self, node);
    }

    fn visit_expr_unary(&mut self, node: &'ast syn::ExprUnary) {
        let operator = bytes(node.op.span());
        let start = operator.start;
        self.place("UnaryOperator", start, bytes(node.span()), Kind::Unary { operator });
        visit::visit_expr_unary(self, node);
    }

    fn visit_expr_struct(&mut self, node: &'ast syn::ExprStruct) {
        let whole = bytes(node.span());
        for pair in node.fields.pairs() {
            let field = bytes(pair.value().span());
            let start = field.start;
            let end = pair.punct().map_or(field.end, |comma| bytes(comma.span()).end);
            let kind = Kind::Struct { field: start..end };
            self.place("StructField", start, whole.clone(), kind);
        }
        visit::visit_expr_struct(self, node);
    }
}
