//! Values as they stand in a logbook: arrays of fields in their order, so that nothing is written twice.

use std::fmt::Display;
use std::net::{IpAddr, SocketAddr};
use std::time::Duration;

use serde_json::Value;

use crate::disguise::Disguise;

/// What can stand in a logbook, and be read again as exactly what it was.
pub trait Written: Sized {
    /// As it stands there.
    fn write(&self, disguise: &mut Disguise) -> Value;

    /// As it was.
    fn read(value: &Value) -> Result<Self, Unread>;
}

/// What stands in a logbook is not what belongs there.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
#[error("{0}")]
pub struct Unread(pub String);

impl Unread {
    /// `value` is not what `wanted` says.
    pub fn not(wanted: impl Display, value: &Value) -> Self {
        let text: String = value.to_string().chars().take(60).collect();
        Self(format!("{text} is no {wanted}"))
    }
}

/// The fields of a value, one after the other.
#[derive(Debug)]
pub struct Items<'a>(std::slice::Iter<'a, Value>);

impl<'a> Items<'a> {
    /// The fields of `value`.
    pub fn of(value: &'a Value) -> Result<Self, Unread> {
        value
            .as_array()
            .map(|items| Self(items.iter()))
            .ok_or_else(|| Unread::not("list", value))
    }

    /// The next field.
    pub fn take<T: Written>(&mut self) -> Result<T, Unread> {
        T::read(self.0.next().ok_or_else(|| Unread("a field is missing".to_owned()))?)
    }

    /// The word that says which of several things follows.
    pub fn word(&mut self) -> Result<&'a str, Unread> {
        let word = self.0.next().and_then(Value::as_str);
        word.ok_or_else(|| Unread("a word is missing".to_owned()))
    }
}

/// Writes a struct as the list of its fields.
#[macro_export]
macro_rules! fields {
    ($($type:ty { $($field:ident),* $(,)? })*) => { $(
        impl $crate::Written for $type {
            fn write(&self, disguise: &mut $crate::Disguise) -> $crate::serde_json::Value {
                $crate::serde_json::Value::Array(vec![$($crate::Written::write(&self.$field, disguise)),*])
            }

            fn read(value: &$crate::serde_json::Value) -> Result<Self, $crate::Unread> {
                let mut items = $crate::Items::of(value)?;
                Ok(Self { $($field: items.take()?),* })
            }
        }
    )* };
}

/// Writes a struct of one field as that field.
#[macro_export]
macro_rules! wrapped {
    ($($type:ident),* $(,)?) => { $(
        impl $crate::Written for $type {
            fn write(&self, disguise: &mut $crate::Disguise) -> $crate::serde_json::Value {
                $crate::Written::write(&self.0, disguise)
            }

            fn read(value: &$crate::serde_json::Value) -> Result<Self, $crate::Unread> {
                $crate::Written::read(value).map($type)
            }
        }
    )* };
}

/// Writes one of several things as a word and the fields that belong to it.
#[macro_export]
macro_rules! choices {
    ($($type:ty { $($word:literal $variant:ident
        $( { $($field:ident),* $(,)? } )? $( ( $($arg:ident),* $(,)? ) )? ),* $(,)? })*) => { $(
        impl $crate::Written for $type {
            fn write(&self, disguise: &mut $crate::Disguise) -> $crate::serde_json::Value {
                // What has no fields does not need it.
                let _ = &disguise;
                match self {
                    $(Self::$variant $( { $($field),* } )? $( ( $($arg),* ) )? =>
                        $crate::serde_json::Value::Array(vec![
                            $crate::serde_json::Value::from($word),
                            $( $($crate::Written::write($field, disguise),)* )?
                            $( $($crate::Written::write($arg, disguise),)* )?
                        ]),)*
                }
            }

            fn read(value: &$crate::serde_json::Value) -> Result<Self, $crate::Unread> {
                let mut items = $crate::Items::of(value)?;
                match items.word()? {
                    $($word => {
                        $( $(let $field = items.take()?;)* )?
                        $( $(let $arg = items.take()?;)* )?
                        Ok(Self::$variant $( { $($field),* } )? $( ( $($arg),* ) )?)
                    })*
                    _ => Err($crate::Unread::not(stringify!($type), value)),
                }
            }
        }
    )* };
}

/// Writes what has a text of its own as that text.
macro_rules! texts {
    ($($type:ty),* $(,)?) => { $(
        impl Written for $type {
            fn write(&self, _: &mut Disguise) -> Value {
                self.to_string().into()
            }

            fn read(value: &Value) -> Result<Self, Unread> {
                let text = value.as_str().and_then(|text| text.parse().ok());
                text.ok_or_else(|| Unread::not(stringify!($type), value))
            }
        }
    )* };
}
pub(crate) use texts;

texts!(IpAddr, SocketAddr);

macro_rules! numbers {
    ($($type:ty),*) => { $(
        impl Written for $type {
            fn write(&self, _: &mut Disguise) -> Value {
                (*self).into()
            }

            fn read(value: &Value) -> Result<Self, Unread> {
                let number = value.as_u64().and_then(|number| number.try_into().ok());
                number.ok_or_else(|| Unread::not(stringify!($type), value))
            }
        }
    )* };
}

numbers!(u8, u16, u32, u64, usize);

impl Written for bool {
    fn write(&self, _: &mut Disguise) -> Value {
        (*self).into()
    }

    fn read(value: &Value) -> Result<Self, Unread> {
        value.as_bool().ok_or_else(|| Unread::not("yes or no", value))
    }
}

impl Written for f64 {
    /// As the shortest text that is read as the same number: a number of JSON might be read as its neighbour.
    fn write(&self, _: &mut Disguise) -> Value {
        format!("{self:?}").into()
    }

    fn read(value: &Value) -> Result<Self, Unread> {
        let number = value.as_str().and_then(|text| text.parse().ok());
        number.ok_or_else(|| Unread::not("number", value))
    }
}

impl Written for Duration {
    /// In nanoseconds; 584 years are the most.
    fn write(&self, _: &mut Disguise) -> Value {
        u64::try_from(self.as_nanos()).unwrap_or(u64::MAX).into()
    }

    fn read(value: &Value) -> Result<Self, Unread> {
        u64::read(value).map(Self::from_nanos)
    }
}

impl Written for String {
    fn write(&self, _: &mut Disguise) -> Value {
        self.as_str().into()
    }

    fn read(value: &Value) -> Result<Self, Unread> {
        let text = value.as_str().map(str::to_owned);
        text.ok_or_else(|| Unread::not("text", value))
    }
}

impl<T: Written> Written for Option<T> {
    fn write(&self, disguise: &mut Disguise) -> Value {
        Value::Array(self.iter().map(|value| value.write(disguise)).collect())
    }

    fn read(value: &Value) -> Result<Self, Unread> {
        match value.as_array().map(Vec::as_slice) {
            Some([]) => Ok(None),
            Some([value]) => T::read(value).map(Some),
            _ => Err(Unread::not("one or none", value)),
        }
    }
}

impl<T: Written> Written for Vec<T> {
    fn write(&self, disguise: &mut Disguise) -> Value {
        Value::Array(self.iter().map(|value| value.write(disguise)).collect())
    }

    fn read(value: &Value) -> Result<Self, Unread> {
        let items = value.as_array().ok_or_else(|| Unread::not("list", value))?;
        items.iter().map(T::read).collect()
    }
}

impl<T: Written> Written for Box<T> {
    fn write(&self, disguise: &mut Disguise) -> Value {
        (**self).write(disguise)
    }

    fn read(value: &Value) -> Result<Self, Unread> {
        T::read(value).map(Self::new)
    }
}

impl<A: Written, B: Written> Written for (A, B) {
    fn write(&self, disguise: &mut Disguise) -> Value {
        Value::Array(vec![self.0.write(disguise), self.1.write(disguise)])
    }

    fn read(value: &Value) -> Result<Self, Unread> {
        let mut items = Items::of(value)?;
        Ok((items.take()?, items.take()?))
    }
}

impl<const LENGTH: usize> Written for [u8; LENGTH] {
    /// In hexadecimal.
    fn write(&self, _: &mut Disguise) -> Value {
        let text: String = self.iter().map(|byte| format!("{byte:02x}")).collect();
        text.into()
    }

    fn read(value: &Value) -> Result<Self, Unread> {
        let bytes = value.as_str().and_then(bytes);
        let bytes = bytes.and_then(|bytes| Self::try_from(bytes).ok());
        bytes.ok_or_else(|| Unread::not(format!("{LENGTH} bytes"), value))
    }
}

fn bytes(text: &str) -> Option<Vec<u8>> {
    let places = (0..text.len()).step_by(2);
    let bytes = places.map(|at| u8::from_str_radix(text.get(at..at + 2)?, 16).ok());
    bytes.collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn again<T: Written>(value: &T) -> Result<T, Unread> {
        let text = value.write(&mut Disguise::default()).to_string();
        T::read(&serde_json::from_str(&text).expect("a line of JSON"))
    }

    #[test]
    fn every_number_is_read_as_the_very_same() {
        for number in [
            0.1,
            441.000_000_1,
            -0.0,
            1e-300,
            f64::MAX,
            f64::MIN_POSITIVE,
            27.500_000_000_000_004,
        ] {
            assert_eq!(again(&number).map(f64::to_bits), Ok(number.to_bits()));
        }
        assert_eq!(again(&u64::MAX), Ok(u64::MAX));
        assert_eq!(
            again(&Duration::from_nanos(u64::MAX)),
            Ok(Duration::from_nanos(u64::MAX))
        );
    }

    #[test]
    fn what_is_none_differs_from_what_is_empty() {
        let list: Option<Vec<u8>> = Some(Vec::new());
        assert_eq!(again(&list), Ok(list));
        assert_eq!(again(&None::<Vec<u8>>), Ok(None));
    }

    #[test]
    fn what_does_not_belong_there_is_refused() {
        assert!(u8::read(&256.into()).is_err());
        assert!(<[u8; 2]>::read(&"00".into()).is_err());
        assert!(<[u8; 2]>::read(&"0ü0".into()).is_err());
        assert!(f64::read(&1.into()).is_err());
        assert!(<(u8, u8)>::read(&Value::Array(vec![1.into()])).is_err());
    }
}
