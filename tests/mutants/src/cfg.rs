//! Whether a `#[cfg(...)]` holds in the build.

use syn::punctuated::Punctuated;
use syn::{Attribute, Expr, ExprLit, Lit, Meta, Token};

/// Whether what stands below this attribute is compiled when `holding` holds and nothing else
/// does. Any other attribute than `cfg` leaves everything in.
pub fn is_compiled(attribute: &Attribute, holding: &[String]) -> bool {
    if !attribute.path().is_ident("cfg") {
        return true;
    }
    attribute.parse_args::<Meta>().is_ok_and(|meta| holds(&meta, holding))
}

fn holds(meta: &Meta, holding: &[String]) -> bool {
    match meta {
        Meta::Path(path) => {
            path.get_ident().is_some_and(|name| holding.contains(&name.to_string()))
        }
        Meta::NameValue(pair) => {
            let Expr::Lit(ExprLit { lit: Lit::Str(value), .. }) = &pair.value else { return false };
            let name = pair.path.get_ident().map(ToString::to_string).unwrap_or_default();
            holding.contains(&format!("{name} = {:?}", value.value()))
        }
        Meta::List(list) => {
            let parse = Punctuated::<Meta, Token![,]>::parse_terminated;
            let Ok(of) = list.parse_args_with(parse) else { return false };
            let mut each = of.iter().map(|meta| holds(meta, holding));
            match list.path.get_ident().map(ToString::to_string).as_deref() {
                Some("not") => !each.any(|holds| holds),
                Some("all") => each.all(|holds| holds),
                Some("any") => each.any(|holds| holds),
                _ => false,
            }
        }
    }
}

#[test]
fn what_is_not_compiled_is_told() {
    let holding = ["feature = \"activity\"".to_owned(), "test".to_owned()];
    for (attribute, compiled) in [
        ("#[inline]", true),
        ("#[cfg(test)]", true),
        ("#[cfg(doc)]", false),
        ("#[cfg(feature = \"activity\")]", true),
        ("#[cfg(feature = \"defmt\")]", false),
        ("#[cfg(not(target_os = \"none\"))]", true),
        ("#[cfg(all(test, doc))]", false),
        ("#[cfg(any(test, doc))]", true),
    ] {
        let item: syn::ItemFn = syn::parse_str(&format!("{attribute} fn f() {{}}")).unwrap();
        assert_eq!(is_compiled(&item.attrs[0], &holding), compiled, "{attribute}");
    }
}
