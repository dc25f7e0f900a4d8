//! Enums whose variants have lower-case names in setup files and tables.

/// Declares a plain enum with `ALL`, `as_str`, `Display` and `FromStr` for its names.
macro_rules! named {
    ($(#[$meta:meta])* pub enum $Enum:ident { $($(#[$doc:meta])* $Variant:ident = $name:literal,)+ }) => {
        $(#[$meta])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
        pub enum $Enum { $($(#[$doc])* $Variant,)+ }

        impl $Enum {
            /// All choices, in the order of the documentation.
            pub const ALL: &[Self] = &[$(Self::$Variant,)+];

            /// The lower-case name used in setup files and tables.
            pub const fn as_str(self) -> &'static str {
                match self { $(Self::$Variant => $name,)+ }
            }
        }

        impl std::fmt::Display for $Enum {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.pad(self.as_str())
            }
        }

        impl std::str::FromStr for $Enum {
            type Err = $crate::error::ProcessingError;

            fn from_str(name: &str) -> Result<Self, Self::Err> {
                Self::ALL.iter().copied().find(|choice| choice.as_str() == name).ok_or_else(|| {
                    $crate::error::ProcessingError::UnknownName { name: name.to_owned(), choices: &[$($name,)+] }
                })
            }
        }
    };
}

pub(crate) use named;
