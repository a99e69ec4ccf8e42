// A value or the reason why there is none. Library code never throws, prints or exits across its boundary.
#pragma once

#include <optional>
#include <string>
#include <utility>
#include <variant>

namespace tramlog {

/// Who can put it right; the programs turn this into their exit code (contract: 2 usage, 3 input, 4 environment).
enum class ErrorKind { usage, input, environment };

/// One failure in three parts, printed as "tramlog: <what> : <where> : <what to do>".
struct Error {
  ErrorKind kind = ErrorKind::input;
  std::string what;
  std::string where;
  std::string remedy;
};

template <class T>
class [[nodiscard]] Result {
 public:
  Result(T value) : held_(std::in_place_index<0>, std::move(value)) {}
  Result(Error error) : held_(std::in_place_index<1>, std::move(error)) {}

  bool ok() const { return held_.index() == 0; }
  explicit operator bool() const { return ok(); }
  T& value() { return std::get<0>(held_); }
  const T& value() const { return std::get<0>(held_); }
  T& operator*() { return value(); }
  T* operator->() { return &value(); }
  const Error& error() const { return std::get<1>(held_); }

 private:
  std::variant<T, Error> held_;
};

}  // namespace tramlog
